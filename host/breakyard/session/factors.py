"""Read pulls -> a comparison by factors: which column gives a level, which a condition."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from breakyard.errors import DataError, UsageError
from breakyard.session.comparing import key_of, observed, quantity_of, specimens_of
from breakyard.session.reading import PullResult
from breakyard.session.same import inherited

if TYPE_CHECKING:
    from breakyard.comparison import Observation, Quantity
    from breakyard.comparison.factors import FactorComparison
    from breakyard.session.files.specimens import Specimen

SESSION: Final = "session"
"""Name of the factor or block whose levels are the sessions."""
GROUP: Final = "group"
RATE: Final = "rate"
"""Name of the condition that is the loading rate; its logarithm counts (strength follows a power of the rate)."""

MOST_POWER: Final = 0.2
"""Power of the rate that a strength may follow: 0.02 to 0.1 for most materials (common practice, no source)."""

Level = Callable[[PullResult, "Specimen | None"], str]


def compare_by_factors(
    results: Sequence[PullResult],
    *,
    by: Sequence[str],
    block: str | None = None,
    adjust: Sequence[str] = (),
    of: "Quantity" = "strength",
    per: str | None = None,
    reference: str | None = None,
    matters: float = 0.10,
    coverage: float = 0.95,
) -> "FactorComparison":
    """Compare pulls by columns of specimens.csv; what cannot take part is named with the reason.

    Args:
        by: columns that are factors; also "group" and "session".
        block: a column or "session", whose shifts are taken out.
        adjust: columns of numbers, whose effect is taken out; also "rate", and keys of session.toml.

    Raises: DataError, UsageError.
    """
    from breakyard.comparison.factors import PulledSpecimen, compare_factors
    from breakyard.comparison.observations import one_per_specimen

    table = specimens_of(results)
    names = sorted({name for one in table.values() for name in one.more})
    levels = {name: _level(name, names) for name in [*by, *([block] if block else [])]}
    conditions = dict(_condition(name, names, results) for name in adjust)
    if len(conditions) < len(adjust):
        raise UsageError(f"{', '.join(adjust)}: one condition is named twice")
    whole = inherited(table)
    pairs, left_out = observed(results, of=of, per=per, grouped=GROUP in levels)
    # A specimen counts once, whatever group its row of each session names, unless groups are asked for.
    single = [one if GROUP in levels else replace(one, group="") for _, one in pairs]
    kept, notes = one_per_specimen(single)
    result_of = {_what(one): result for result, one in pairs}
    rows = []
    for observation in kept:
        result = result_of[_what(observation)]
        own = table.get(key_of(result))
        having = {name: level(result, whole.get(key_of(result))) for name, level in levels.items()}
        values = {name: condition(result, own) for name, condition in conditions.items()}
        missing = [name for name, value in having.items() if not value]
        missing += [name for name, value in values.items() if value is None]
        if missing:
            left_out.append(f"{observation.specimen}: no {' and no '.join(missing)}")
            continue
        rows.append(
            PulledSpecimen(
                observation, having, {name: value for name, value in values.items() if value is not None}
            )
        )
    found = compare_factors(
        rows,
        factors=by,
        block=block,
        conditions=list(conditions),
        logarithmic={RATE} & set(adjust),
        coverage=coverage,
        matters=matters,
        reference=reference,
        quantity=quantity_of(of, per),
        left_out=left_out,
    )
    return replace(found, notes=(*notes, *found.notes), cannot_tell=(*found.cannot_tell, *_by_rate(found)))


def _by_rate(found: "FactorComparison") -> tuple[str, ...]:
    """A doubt where the rate may follow the strength. Raises: DataError where it does.

    If every pull takes the same time, what is stronger is loaded faster; taking the rate out then takes out what is
    asked for.
    """
    slope = next((one for one in found.slopes if one.condition == RATE), None)
    if slope is None:
        return ()
    times = math.log(slope.to_value / slope.from_value)
    power, least = math.log(slope.ratio) / times, math.log(slope.ratio_low) / times
    if power <= MOST_POWER:
        return ()
    told = (
        f"the load follows the loading rate to the power {power:.2f}, more than a material does ({MOST_POWER:g} at "
        "most)"
    )
    if least > MOST_POWER:
        raise DataError(
            f"{told}: what is stronger was loaded faster, as where every pull takes the same time, and taking the rate "
            "out would take the difference out; leave --adjust rate out"
        )
    doubt = (
        f"{told[0].upper()}{told[1:]}: perhaps what is stronger was loaded faster, and the ratios are taken out with "
        "the rate; look at them without --adjust rate, too."
    )
    return (doubt,)


def _what(one: "Observation") -> tuple[str, str, float, bool]:
    """Tells one pull of a specimen from another: runs of two sessions may have one name."""
    return one.specimen, one.run, one.value_n, one.at_least


def grouped_by(results: Sequence[PullResult], name: str) -> list[PullResult]:
    """The pulls with one column's levels as their groups. Raises: UsageError for an unknown column."""
    table = specimens_of(results)
    level = _level(name, sorted({name for one in table.values() for name in one.more}))
    whole = inherited(table)
    return [
        replace(result, pull=replace(result.pull, group=level(result, whole.get(key_of(result)))))
        for result in results
    ]


def _level(name: str, names: Sequence[str]) -> Level:
    if name == SESSION:
        return lambda result, _: "" if result.pull.session is None else result.pull.session.root.name
    if name == GROUP:
        return lambda result, own: result.pull.group or ("" if own is None else own.group)
    if name not in names:
        raise UsageError(_no_column(name, names, (GROUP, SESSION)))
    return lambda _, own: "" if own is None else own.more.get(name, "").strip()


def _no_column(name: str, names: Sequence[str], besides: Sequence[str]) -> str:
    return f'specimens.csv has no column "{name}"; there is {", ".join([*besides, *names])}'


def _condition(
    name: str, names: Sequence[str], results: Sequence[PullResult]
) -> "tuple[str, Callable[[PullResult, Specimen | None], float | None]]":
    """The whole name, with the unit in it, and how a pull's value is found."""
    if name == RATE:
        return name, lambda result, _: _rate(result)
    of_sessions: list[Mapping[str, object]] = [
        result.pull.session.info.more for result in results if result.pull.session is not None
    ]
    keys = sorted({key for more in of_sessions for key, value in more.items() if _is_number(value)})
    column, key = _found(name, names), _found(name, keys)
    if column is None and key is None:
        raise UsageError(_no_column(name, [*names, *keys], (RATE,)))

    def value(result: PullResult, own: "Specimen | None") -> float | None:
        cell = "" if own is None or column is None else own.more.get(column, "").strip()
        if cell:
            return _number(cell, f"{result.label}, {column}")
        more = {} if result.pull.session is None else result.pull.session.info.more
        stated = None if key is None else more.get(key)
        return float(stated) if isinstance(stated, int | float) else None

    return column or key or name, value


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _found(name: str, names: Sequence[str]) -> str | None:
    """The column of that name, with its unit or without: "temperature" finds "temperature_C"."""
    if name in names:
        return name
    alike = [one for one in names if one.lower().startswith(f"{name.lower()}_")]
    return alike[0] if len(alike) == 1 else None


def _number(cell: str, where: str) -> float:
    try:
        value = float(cell.replace(",", "."))
    except ValueError:
        raise DataError(f'specimens.csv, {where}: "{cell}" is not a number') from None
    if not math.isfinite(value):
        raise DataError(f'specimens.csv, {where}: "{cell}" is not a number')
    return value


def _rate(result: PullResult) -> float | None:
    rate = None if result.summary is None else result.summary.rate.median_n_per_s
    return rate if rate is not None and rate > 0.0 else None
