"""Rows -> FactorComparison: which model, which ratios, and what these data cannot show.

The log-linear model of strengths with one scatter (log_linear.py), its columns the factors, the block (days) and the
conditions. Factors act each by themselves (their ratios multiply) unless their acting together is shown; then the
levels of one are compared at each level of the other. Both plausible curves are fitted, Weibull and log-normal; every
interval is the wider of theirs and every probability the larger. All ratios hold together: the law is that of the
largest of them, so that a test and its interval say the same.
"""

import itertools
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from breakyard.comparison.common_scatter import IMPLAUSIBLE, LOG_MEDIAN, LOG_SD
from breakyard.comparison.factors import words
from breakyard.comparison.factors.law import Campaign, Together
from breakyard.comparison.factors.results import (
    ActTogether,
    Combination,
    ConditionEffect,
    FactorComparison,
    FactorRatio,
    FamilyScatter,
    Shift,
    Tested,
)
from breakyard.comparison.factors.terms import (
    Cause,
    Design,
    Floats,
    Label,
    PulledSpecimen,
    levels_of,
    why_lost,
)
from breakyard.comparison.instrument import ratio_by_weights, shared_standard
from breakyard.comparison.log_linear import FAMILIES
from breakyard.comparison.results import Compared
from breakyard.comparison.verdict import check_shares, verdict_of
from breakyard.errors import DataError, UsageError

TOGETHER_BELOW: Final = 0.05
"""Two factors are taken to act together below this probability, over all twos of factors (Sidak)."""
MOST_FACTORS: Final = 4


@dataclass(frozen=True, slots=True)
class _Weighed:
    """One sum of effects in every plausible family: the likelier's estimate, the widest interval, the largest p."""

    log: float
    low: float
    high: float
    p: float


class _Fitted:
    """A design fitted with each plausible family, the likelier first."""

    def __init__(self, rows: Sequence[PulledSpecimen], terms: Sequence[Cause]) -> None:
        self.design = Design(rows, terms)
        values = np.array([row.pull.value_n for row in rows])
        self.logs: Floats = np.log(values / values[0])
        self.unit = float(values[0])
        self.broke = np.array([not row.pull.at_least for row in rows])
        own = math.sqrt(float(np.mean([(row.pull.own_n / row.pull.value_n) ** 2 for row in rows])))
        made = [
            Campaign(self.design.matrix, self.logs, self.broke, family, own / LOG_SD[family])
            for family in FAMILIES
        ]
        made.sort(key=lambda one: -float(one.fit.height[0]))
        least = float(made[0].fit.height[0]) - IMPLAUSIBLE
        self.campaigns = tuple(one for one in made if float(one.fit.height[0]) > least)

    def weigh(
        self,
        sums: Sequence[Floats],
        coverage: float,
        instruments: Sequence[float] | None = None,
        *,
        each: bool = False,
        median: bool = False,
    ) -> list[_Weighed]:
        """Weigh sums of effects together, or `each` by itself.

        instruments: what the instrument adds to each; None for nothing. median: of sums that are a level, the load that
        half of such specimens bear.
        """
        if not sums:
            return []
        asked = np.array(sums)
        apart = np.zeros(len(asked)) if instruments is None else np.asarray(instruments)
        found: list[list[_Weighed]] = []
        for campaign in self.campaigns:
            middle = LOG_MEDIAN[campaign.family] if median else 0.0
            seen, errors = campaign.estimates(asked, middle)
            wide = np.hypot(errors, apart)
            law = campaign.law(asked, middle)
            groups = [[n] for n in range(len(asked))] if each else [list(range(len(asked)))]
            one: list[_Weighed] = []
            for numbers in groups:
                largest = Together.of(law[:, numbers], campaign)
                limit = largest.limit(coverage)
                for n in numbers:
                    half = limit * float(wide[n])
                    at = float(seen[n])
                    one.append(_Weighed(at, at - half, at + half, largest.probability(at / float(wide[n]))))
            found.append(one)
        return [
            _Weighed(
                alike[0].log,
                min(one.low for one in alike),
                max(one.high for one in alike),
                max(one.p for one in alike),
            )
            for alike in zip(*found, strict=True)
        ]

    def instrument(self, weights: Floats) -> float:
        """Relative standard uncertainty that the instrument leaves on a sum of effects."""
        # Least squares takes a sum of effects as this sum of the logs.
        of_rows = self.design.matrix @ np.linalg.solve(self.design.matrix.T @ self.design.matrix, weights)
        return ratio_by_weights([row.pull for row in self.design.rows], of_rows)


def compare_factors(
    rows: Sequence[PulledSpecimen],
    *,
    factors: Sequence[str],
    block: str | None = None,
    conditions: Sequence[str] = (),
    logarithmic: Collection[str] = (),
    coverage: float = 0.95,
    matters: float = 0.10,
    reference: str | None = None,
    quantity: Compared | None = None,
    left_out: Sequence[str] = (),
) -> FactorComparison:
    """Tell what each factor does to the load, the others, the days and the conditions taken out.

    Args:
        rows: one specimen each, with its level of every factor and block and its conditions.
        coverage: of all ratios together, and of every other interval by itself.
        logarithmic: conditions whose logarithm counts (a loading rate), all above zero.
        reference: a level; levels of its factor are compared with this one only.

    Raises: DataError where too few broke for the number of causes; UsageError for what cannot be asked.
    """
    check_shares(coverage, matters)
    _check_names(factors, block, conditions)
    kept, dropped = _with_breaks(tuple(rows), [*factors, *([block] if block else [])])
    if not kept:
        raise DataError(
            "no specimen with a load and all its levels; give specimens.csv the columns that are compared"
        )
    kept = tuple(_with_logarithms(row, logarithmic) for row in kept)
    _check_reference(kept, factors, reference)
    base = [
        *([Cause(block, "block")] if block else []),
        *(Cause(name, "factor") for name in factors if len(levels_of(kept, name)) > 1),
        *(Cause(name, "condition") for name in conditions),
    ]
    if not any(term.kind == "factor" for term in base):
        raise DataError(f"{' and '.join(factors)}: only one level was pulled, so there is nothing to compare")
    alone = _fitted(kept, base)
    cannot = [
        why_lost(alone.design, term)
        for term in base
        if len(alone.design.columns_of(term)) < alone.design.asked_of(term)
    ]
    together, joint = _together(kept, base, alone)
    model = alone if not joint else _fitted(kept, [*base, *joint])
    ratios, untold = _ratios(model, joint, coverage, matters, reference)
    return FactorComparison(
        quantity=quantity or Compared("strength", None, "N"),
        coverage=coverage,
        matters=matters,
        factors=tuple(factors),
        block=block,
        conditions=tuple(conditions),
        specimens=len(kept),
        breaks=model.campaigns[0].breaks,
        freedom=model.campaigns[0].freedom,
        families=tuple(
            FamilyScatter(one.family, one.scale * LOG_SD[one.family], float(one.fit.height[0]))
            for one in model.campaigns
        ),
        tests=_tests(kept, base, joint),
        together=together,
        ratios=tuple(replace(one, sentence=words.ratio_sentence(one, coverage, matters)) for one in ratios),
        shifts=_shifts(model, block, coverage),
        slopes=_slopes(model, conditions, logarithmic, coverage),
        combinations=_combinations(model, factors, joint, coverage),
        cannot_tell=(*cannot, *untold),
        left_out=(*left_out, *dropped),
        notes=words.notes(model.campaigns[0], kept, block),
    )


def _check_names(factors: Sequence[str], block: str | None, conditions: Sequence[str]) -> None:
    if not factors:
        raise UsageError("name at least one factor: a column of specimens.csv whose levels are compared")
    if len(factors) > MOST_FACTORS:
        raise UsageError(f"{len(factors)} factors at once: compare at most {MOST_FACTORS}")
    names = [*factors, *([block] if block else []), *conditions]
    for name in names:
        if names.count(name) > 1:
            raise UsageError(f'"{name}" is named twice; a column is a factor, a block or a condition')


def _check_reference(rows: Sequence[PulledSpecimen], factors: Sequence[str], reference: str | None) -> None:
    if reference is None:
        return
    known = [level for name in factors for level in levels_of(rows, name)]
    if reference not in known:
        raise UsageError(f'no level "{reference}"; there is {", ".join(known)}')


def _with_breaks(
    rows: tuple[PulledSpecimen, ...], names: Sequence[str]
) -> tuple[tuple[PulledSpecimen, ...], list[str]]:
    """Leave out levels of which nothing broke: their loads have no upper end that a ratio could stand on."""
    dropped: list[str] = []
    while True:
        for name in names:
            for level in levels_of(rows, name):
                own = [row for row in rows if row.levels[name] == level]
                if all(row.pull.at_least for row in own):
                    rows = tuple(row for row in rows if row.levels[name] != level)
                    dropped.append(
                        f"{name} {level}: none of its {len(own)} broke, so its load is only known from below; "
                        "compare its groups without --by"
                    )
                    break
            else:
                continue
            break
        else:
            return rows, dropped


def _with_logarithms(row: PulledSpecimen, names: Collection[str]) -> PulledSpecimen:
    taken = {name: math.log(value) if name in names else value for name, value in row.conditions.items()}
    return replace(row, conditions=taken)


def _fitted(rows: Sequence[PulledSpecimen], terms: Sequence[Cause]) -> _Fitted:
    fitted = _Fitted(rows, terms)
    matrix, broke = fitted.design.matrix, fitted.broke
    breaks, columns = int(broke.sum()), matrix.shape[1]
    if breaks <= columns or np.linalg.matrix_rank(matrix[broke]) < columns:
        raise DataError(
            f"{breaks} of {len(rows)} specimens broke, too few for {columns} unknowns "
            f"({', '.join(term.name for term in terms)}); pull more, or name fewer causes"
        )
    if not all(float(one.fit.scale[0]) > 1e-9 for one in fitted.campaigns):
        raise DataError("the loads show no scatter at all within a combination; were they rounded?")
    return fitted


def _together(
    rows: Sequence[PulledSpecimen], base: Sequence[Cause], alone: _Fitted
) -> tuple[tuple[ActTogether, ...], list[Cause]]:
    """Test each two factors for acting together; returns what was found, and the terms of those that do."""
    factors = [term.name for term in base if term.kind == "factor"]
    pairs = list(itertools.combinations(factors, 2))
    found, joint = [], []
    for one, other in pairs:
        term = Cause(f"{one} and {other}", "together", (one, other))
        design = Design(rows, [*base, term])
        columns = design.columns_of(term)
        breaks, broke = alone.campaigns[0].breaks, alone.broke
        enough = (
            columns
            and breaks > design.matrix.shape[1]
            and np.linalg.matrix_rank(design.matrix[broke]) == design.matrix.shape[1]
        )
        p = None
        if enough:
            each = [
                Campaign(design.matrix, alone.logs, broke, campaign.family, campaign.least_scale).test(
                    columns
                )[1]
                for campaign in alone.campaigns
            ]
            p = -math.expm1(len(pairs) * math.log1p(-min(max(each), 1.0 - 1e-12)))
        shown = p is not None and p < TOGETHER_BELOW
        found.append(ActTogether((one, other), shown, p, words.together_sentence(one, other, p, shown)))
        if shown:
            joint.append(term)
    return tuple(found), joint


def _tests(
    rows: Sequence[PulledSpecimen], base: Sequence[Cause], joint: Sequence[Cause]
) -> tuple[Tested, ...]:
    """Each cause after all the others; factors that act together are tested with the error of the whole model."""
    tested = []
    for term in base:
        others = [one for one in base if one is not term]
        tested += _tested(rows, others, term)
    for term in joint:
        tested += _tested(rows, base, term)
    return tuple(tested)


def _tested(rows: Sequence[PulledSpecimen], others: Sequence[Cause], term: Cause) -> list[Tested]:
    fitted = _Fitted(rows, [*others, term])
    design = fitted.design
    columns = design.columns_of(term)
    if not columns:
        return []
    each = [campaign.test(columns) for campaign in fitted.campaigns]
    return [Tested(term.name, term.kind, len(columns), each[0][0], max(p for _, p in each))]


def _with_joint(
    shares: dict[Label, float],
    joint: Sequence[Cause],
    factor: str,
    level: str,
    within: Mapping[str, str],
    sign: float,
) -> None:
    for term in joint:
        one, other = term.factors
        if factor == one and other in within:
            shares[(one, level, other, within[other])] = sign
        elif factor == other and one in within:
            shares[(one, within[one], other, level)] = sign


def _ratios(
    model: _Fitted, joint: Sequence[Cause], coverage: float, matters: float, reference: str | None
) -> tuple[list[FactorRatio], list[str]]:
    """All twos of levels that share everything else."""
    rows = model.design.rows
    asked: list[tuple[str, str, str, dict[str, str]]] = []
    sums: list[Floats] = []
    untold: list[str] = []
    for term in model.design.terms:
        if term.kind != "factor":
            continue
        levels = levels_of(rows, term.name)
        partners = [
            next(name for name in one.factors if name != term.name)
            for one in joint
            if term.name in one.factors
        ]
        places = [
            dict(zip(partners, at, strict=True))
            for at in itertools.product(*(levels_of(rows, name) for name in partners))
        ]
        pairs = (
            [(level, reference) for level in levels if level != reference]
            if reference in levels
            else list(itertools.combinations(levels, 2))
        )
        for within, (first, second) in itertools.product(places, pairs):
            assert second is not None
            shares: dict[Label, float] = {(term.name, first): 1.0, (term.name, second): -1.0}
            _with_joint(shares, joint, term.name, first, within, 1.0)
            _with_joint(shares, joint, term.name, second, within, -1.0)
            weights = model.design.sum_of(shares)
            if weights is None:
                where = f" at {', '.join(within.values())}" if within else ""
                untold.append(f"{first} against {second}{where}: these specimens do not show it.")
                continue
            asked.append((term.name, first, second, within))
            sums.append(weights)
    instruments = [model.instrument(weights) for weights in sums]
    weighed = model.weigh(sums, coverage, instruments)
    return [
        FactorRatio(
            factor=factor,
            first=first,
            second=second,
            within=within,
            ratio=math.exp(one.log),
            ratio_low=math.exp(one.low),
            ratio_high=math.exp(one.high),
            p=one.p,
            verdict=verdict_of(math.exp(one.low), math.exp(one.high), matters),
            instrument_relative=instrument,
        )
        for (factor, first, second, within), one, instrument in zip(asked, weighed, instruments, strict=True)
    ], untold


def _shifts(model: _Fitted, block: str | None, coverage: float) -> tuple[Shift, ...]:
    if block is None:
        return ()
    first, *others = levels_of(model.design.rows, block)
    told = [(level, model.design.sum_of({(block, level): 1.0, (block, first): -1.0})) for level in others]
    known = [(level, weights) for level, weights in told if weights is not None]
    weighed = model.weigh([weights for _, weights in known], coverage, each=True)
    return tuple(
        Shift(block, level, first, math.exp(one.log), math.exp(one.low), math.exp(one.high))
        for (level, _), one in zip(known, weighed, strict=True)
    )


def _slopes(
    model: _Fitted, conditions: Sequence[str], logarithmic: Collection[str], coverage: float
) -> tuple[ConditionEffect, ...]:
    made = []
    for name in conditions:
        values = [row.conditions[name] for row in model.design.rows]
        low, high = min(values), max(values)
        weights = model.design.sum_of({(name,): high - low})
        if weights is None or high == low:
            continue
        (one,) = model.weigh([weights], coverage)
        ends = (math.exp(low), math.exp(high)) if name in logarithmic else (low, high)
        made.append(
            ConditionEffect(name, *ends, math.exp(one.log), math.exp(one.low), math.exp(one.high), one.p)
        )
    return tuple(made)


def _combinations(
    model: _Fitted, factors: Sequence[str], joint: Sequence[Cause], coverage: float
) -> tuple[Combination, ...]:
    """Every combination that was pulled, the strongest first."""
    from scipy import special

    rows = model.design.rows
    block = next((term.name for term in model.design.terms if term.kind == "block"), None)
    days = levels_of(rows, block) if block else ()
    combos = list(dict.fromkeys(tuple(row.levels[name] for name in factors) for row in rows))
    fitted = [name for name in factors if any(term.name == name for term in model.design.terms)]
    sums: list[Floats | None] = []
    for combo in combos:
        levels = dict(zip(factors, combo, strict=True))
        shares: dict[Label, float] = {("",): 1.0}
        shares |= {(block or "", day): 1.0 / len(days) for day in days}
        shares |= {(name, levels[name]): 1.0 for name in fitted}
        for term in joint:
            first, second = term.factors
            shares[(first, levels[first], second, levels[second])] = 1.0
        sums.append(model.design.sum_of(shares))
    weighed = iter(model.weigh([one for one in sums if one is not None], coverage, each=True, median=True))
    made = []
    z = float(special.ndtri(0.5 + coverage / 2.0))
    for combo, weights in zip(combos, sums, strict=True):
        own = [row.pull for row in rows if tuple(row.levels[name] for name in factors) == combo]
        median = low_n = high_n = None
        if weights is not None:
            one = next(weighed)
            shared = z * shared_standard(own)
            median = model.unit * math.exp(one.log)
            low_n = model.unit * math.exp(one.log - math.hypot(one.log - one.low, shared))
            high_n = model.unit * math.exp(one.log + math.hypot(one.high - one.log, shared))
        made.append(
            Combination(
                dict(zip(factors, combo, strict=True)),
                len(own),
                sum(pull.at_least for pull in own),
                median,
                low_n,
                high_n,
            )
        )
    return tuple(sorted(made, key=lambda one: -(one.median_n or 0.0)))
