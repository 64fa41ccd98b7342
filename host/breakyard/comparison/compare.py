"""Observations -> Comparison: puts the stages together."""

from collections.abc import Sequence

from breakyard.comparison.anova import one_way, welch_f
from breakyard.comparison.common_scatter import Model
from breakyard.comparison.groups import Group, describe
from breakyard.comparison.observations import Observation, one_per_specimen
from breakyard.comparison.results import Compared, Comparison
from breakyard.comparison.verdict import check_shares, pair_of
from breakyard.comparison.words import probability, share
from breakyard.errors import DataError, UsageError


def compare(
    observations: Sequence[Observation],
    *,
    coverage: float = 0.95,
    matters: float = 0.10,
    reference: str | None = None,
    quantity: Compared | None = None,
    left_out: Sequence[str] = (),
) -> Comparison:
    """Compare groups honestly: few specimens, some only "at least", one instrument for all.

    coverage: of all intervals, and 1 minus the risk of claiming a difference that is none, over all pairs together.
    matters: the relative difference worth knowing about; it decides between "no difference shown" and "too few".
    reference: compare every other group with this one only. Groups keep the order in which they first appear.
    Raises: DataError if there is nothing to compare; UsageError for an unknown reference or a share out of range.
    """
    check_shares(coverage, matters)
    if not observations:
        raise DataError(
            "no pull with a group and a load: give each run its specimen, and each specimen its group"
        )
    joined, notes = one_per_specimen(observations)
    by_group: dict[str, list[Observation]] = {}
    for observation in joined:
        by_group.setdefault(observation.group, []).append(observation)
    if reference is not None and reference not in by_group:
        raise UsageError(f'no group "{reference}"; there is {", ".join(by_group)}')
    groups = tuple(describe(name, pulls, coverage=coverage) for name, pulls in by_group.items())
    model = Model([group.pulls for group in groups])
    chosen = _pairs(groups, reference)
    pairs = tuple(
        pair_of(
            groups[a],
            groups[b],
            model=(model, a, b),
            groups=len(groups),
            pairs=len(chosen),
            coverage=coverage,
            matters=matters,
        )
        for a, b in chosen
    )
    complete = [[pull.value_n for pull in group.pulls] for group in groups if group.sd_n is not None]
    every = len(complete) == len(groups) > 2
    cv, df = _pooled(groups)
    return Comparison(
        quantity=quantity or Compared("strength", None, "N"),
        coverage=coverage,
        matters=matters,
        reference=reference,
        groups=groups,
        pairs=pairs,
        all_equal=welch_f(complete) if every else None,
        pooled_cv=cv,
        pooled_df=df,
        scatter=model.scatter,
        left_out=tuple(left_out),
        notes=(*notes, *_notes(groups), *_scatter_notes(model, groups)),
    )


def _pairs(groups: Sequence[Group], reference: str | None) -> list[tuple[int, int]]:
    """Numbers of the groups that are held against each other."""
    numbers = range(len(groups))
    if reference is not None:
        base = next(n for n in numbers if groups[n].name == reference)
        return [(n, base) for n in numbers if n != base]
    return [(a, b) for a in numbers for b in numbers[a + 1 :]]


def _pooled(groups: Sequence[Group]) -> tuple[float | None, int]:
    """Coefficient of variation within the groups that have one, and its degrees of freedom."""
    relative = [
        [pull.value_n / group.mean_n for pull in group.pulls]
        for group in groups
        if group.sd_n is not None and group.mean_n is not None
    ]
    if not relative:
        return None, 0
    if len(relative) == 1:
        only = next(group for group in groups if group.sd_n is not None)
        return only.cv, only.n - 1
    pooled = one_way(relative)
    return pooled.pooled_sd, pooled.within_df


def _notes(groups: Sequence[Group]) -> list[str]:
    notes = []
    calibrations = {term.calibration for group in groups for pull in group.pulls for term in pull.shared}
    if len(calibrations) == 1:
        notes.append(
            "All pulls share one calibration: its error cancels in the ratios and is in the absolute intervals."
        )
    elif calibrations:
        notes.append(
            f"The pulls were read with {len(calibrations)} calibrations: their errors do not cancel between them."
        )
    if len(groups) == 1:
        notes.append("There is one group only, so there is nothing to compare it with.")
    return notes


def _scatter_notes(model: Model, groups: Sequence[Group]) -> list[str]:
    """What the verdicts take for granted of the groups' scatter, and whether it could be looked at."""
    scatter = model.scatter
    if scatter is None or len(groups) < 2:
        return []
    p = scatter.families[0].p_alike
    if not scatter.alike:
        return [f"The groups do not scatter alike ({probability(p or 0.0)}), so each keeps its own scatter."]
    seen = f"one scatter for all groups, {share(scatter.cv)} (SD over mean)"
    if p is None:
        return [f"The verdicts take {seen}; too few broke to see whether that is so."]
    few = ", though so few would show only a large difference" if scatter.degrees_of_freedom < 10 else ""
    return [f"The verdicts take {seen}; the groups show nothing against it ({probability(p)}){few}."]
