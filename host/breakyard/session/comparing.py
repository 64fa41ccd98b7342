"""Read pulls -> Comparison: who is in which group, and what a load is divided by; what was kept is not made twice."""

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from breakyard.errors import DataError, UsageError
from breakyard.session import kept
from breakyard.session.reading import PullResult
from breakyard.session.same import first_of, inherited

if TYPE_CHECKING:
    from breakyard.comparison import Compared, Comparison, Observation, Quantity
    from breakyard.session.files.specimens import Specimen
    from breakyard.session.session import Session

MASS_WORDS: Final = ("mass", "gram", "grams", "g", "weight")


def _ignore(reason: str) -> None:
    pass


def compare_results(
    results: Sequence[PullResult],
    *,
    of: "Quantity" = "strength",
    per: str | None = None,
    reference: str | None = None,
    matters: float = 0.10,
    coverage: float = 0.95,
    not_kept: Callable[[str], None] = _ignore,
) -> "Comparison":
    """Compare the groups of pulls that were read; what cannot take part is named with the reason.

    The comparison of one session's pulls is kept in its results/ folder, and stands until anything that it was made
    from changes.

    Args:
        per: "mass" for newtons per gram, or the name of a column of specimens.csv.
        not_kept: called with the reason if it cannot be kept.

    Raises: DataError if no pull can take part; UsageError for an unknown group or column.
    """
    pairs, left_out = observed(results, of=of, per=per)
    observations = [observation for _, observation in pairs]
    quantity = quantity_of(of, per)
    asked = {"coverage": coverage, "matters": matters, "reference": reference}
    source = kept.compared_from(observations, left_out, quantity, **asked)
    session = _session_of(results)
    if session is not None and (found := kept.find_comparison(session, source)) is not None:
        return found
    from breakyard.comparison import compare

    made = compare(
        observations,
        coverage=coverage,
        matters=matters,
        reference=reference,
        quantity=quantity,
        left_out=left_out,
    )
    if session is not None:
        try:
            kept.keep_comparison(session, made, source)
        except DataError as error:  # it can be made again; what was made is returned all the same
            not_kept(str(error))
    return made


def _session_of(results: Sequence[PullResult]) -> "Session | None":
    """The one session that all pulls lie in; None for pulls of several sessions or outside of any."""
    sessions = {
        None if result.pull.session is None else result.pull.session.root: result.pull.session
        for result in results
    }
    return next(iter(sessions.values())) if len(sessions) == 1 else None


def quantity_of(of: "Quantity", per: str | None) -> "Compared":
    """What is compared, with its unit."""
    from breakyard.comparison import Compared

    return Compared(of, per, "N" if per is None else f"N/{_unit_of(per)}")


def observed(
    results: Sequence[PullResult], *, of: "Quantity", per: str | None, grouped: bool = True
) -> "tuple[list[tuple[PullResult, Observation]], list[str]]":
    """Each pull's value in the order of the specimens, and sentences on those that have none.

    grouped: a pull without a group is left out.
    Raises: DataError if no pull can take part; UsageError for an unknown column.
    """
    from breakyard.comparison import observe

    table = specimens_of(results)
    same, whole = first_of(table), inherited(table)
    several = len({result.pull.session.root for result in results if result.pull.session is not None}) > 1
    column = None if per is None else _column(per, table)
    observations, left_out = [], []
    # In the order of the table of specimens, which is the order people gave the groups; pulls are in random order.
    place = {key: number for number, key in enumerate(table)}
    for result in sorted(results, key=lambda result: place.get(key_of(result), len(place))):
        first = same.get(key_of(result), key_of(result))
        name = first[1] or result.label
        group = result.pull.group or (whole[key_of(result)].group if key_of(result) in whole else "")
        if result.summary is None:
            left_out.append(f"{result.pull.name}: {result.problem}")
            continue
        if grouped and not group:
            left_out.append(f"{name}: {_no_group(result)}")
            continue
        divisor = None
        if column is not None:
            divisor = column(whole[key_of(result)])
            if divisor is None:
                left_out.append(f"{name}: no {per} in specimens.csv")
                continue
        shown = f"{Path(first[0]).name}/{name}" if several and first[0] else name
        try:
            one = observe(result.summary, group=group, specimen=shown, of=of, per=divisor)
        except DataError as error:
            left_out.append(str(error))
            continue
        if one is None:
            left_out.append(f"{name}: nothing settled after its peak")
        else:
            observations.append((result, one))
    if not observations:
        why = f" ({left_out[0]})" if left_out else ""
        raise DataError(f"no pull can be compared{why}; each run needs its specimen, each specimen its group")
    return observations, left_out


def _no_group(result: PullResult) -> str:
    if result.pull.part is not None and not result.pull.specimen:
        notes = f"{result.pull.path.stem}.toml"
        return f'one of several pulls in a recording; list their specimens in {notes}: specimens = ["..."]'
    return "it has no group; give it one in specimens.csv"


def key_of(result: PullResult) -> tuple[str, str]:
    """Where `specimens_of` keeps a pull's row."""
    root = "" if result.pull.session is None else str(result.pull.session.root)
    return root, result.pull.specimen


def specimens_of(results: Sequence[PullResult]) -> "dict[tuple[str, str], Specimen]":
    """The rows of every session's specimens.csv, by session folder and id."""
    sessions = {
        str(result.pull.session.root): result.pull.session
        for result in results
        if result.pull.session is not None
    }
    return {(root, one.id): one for root, session in sessions.items() for one in session.specimens()}


def _column(per: str, table: "dict[tuple[str, str], Specimen]") -> "Callable[[Specimen], float | None]":
    if per.lower() in MASS_WORDS:
        return lambda one: None if one.mass_kg is None else 1000.0 * one.mass_kg
    names = sorted({name for one in table.values() for name in one.more})
    if per not in names:
        raise UsageError(
            f'specimens.csv has no column "{per}" to divide by; there is {", ".join(["mass", *names])}'
        )
    return lambda one: _number(one.more.get(per, ""), f"{one.id}, {per}")


def _number(text: str, where: str) -> float | None:
    if not text.strip():
        return None
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise DataError(f'specimens.csv, {where}: "{text}" is not a number') from None
    if not 0.0 < value < math.inf:
        raise DataError(
            f'specimens.csv, {where}: a load cannot be divided by "{text}"; give a number above 0'
        )
    return value


def _unit_of(per: str) -> str:
    """The unit of a column: the last word of "area_mm2" or "price [EUR]"; the name itself where it has only one."""
    if per.lower() in MASS_WORDS:
        return "g"
    return per.translate(str.maketrans("[]()_", "     ")).split()[-1]
