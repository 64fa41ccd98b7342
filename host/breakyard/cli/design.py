"""breakyard design: how many specimens, what few of them can show, and in which order to pull them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from breakyard.cli.options import group_names
from breakyard.cli.output import JsonOption, Output
from breakyard.errors import UsageError

if TYPE_CHECKING:
    from breakyard.plan.factorial import PlannedSpecimen
    from breakyard.plan.few import PastScatter, Shows, SinglePull
    from breakyard.plan.order import PlannedPull
    from breakyard.plan.specimens import Plan
    from breakyard.session.files.specimens import Specimen
    from breakyard.session.session import Session


class Strengths(StrEnum):
    """How strengths scatter in the simulation."""

    NORMAL = "normal"
    WEIBULL = "weibull"


def command(
    session: Annotated[
        Path | None, typer.Argument(help="Session to plan: its specimens.csv gets the pulling order.")
    ] = None,
    groups: Annotated[
        str | None,
        typer.Option(help='Names of the groups, as "bonded, screwed"; default: those of the session.'),
    ] = None,
    factors: Annotated[
        str | None,
        typer.Option(
            help='Instead of groups: factors with their levels, as "material=oak, ash; direction=along, across".'
        ),
    ] = None,
    days: Annotated[
        int, typer.Option(min=1, max=60, help="With --factors: days over which every combination is spread.")
    ] = 1,
    scatter: Annotated[str | None, typer.Option(help="Expected SD over mean within a group, as 10%.")] = None,
    past: Annotated[
        list[Path] | None, typer.Option("--from", help="Take the scatter from these past sessions instead.")
    ] = None,
    difference: Annotated[str, typer.Option(help="Relative difference that matters.")] = "20%",
    confidence: Annotated[str, typer.Option(help="Confidence of the verdict.")] = "95%",
    power: Annotated[str, typer.Option(help="Chance to find the difference if it is there.")] = "80%",
    per_group: Annotated[
        int | None,
        typer.Option(
            min=1,
            help="Plan for this many (with --factors: of each combination) instead of the computed number.",
        ),
    ] = None,
    own: Annotated[
        str, typer.Option(help="Standard uncertainty of one pull by itself (noise, zero, sampling).")
    ] = "0.3%",
    shared: Annotated[
        str, typer.Option(help="Standard uncertainty that all pulls of one calibration share.")
    ] = "0.5%",
    separate: Annotated[
        bool,
        typer.Option("--separate-calibrations", help="Each group is pulled with a calibration of its own."),
    ] = False,
    strengths: Annotated[
        Strengths, typer.Option(help="How strengths scatter in the simulation.")
    ] = Strengths.NORMAL,
    seed: Annotated[
        int, typer.Option(min=0, help="Draws the order; the same seed gives the same order.")
    ] = 1,
    as_json: JsonOption = False,
) -> None:
    """Plan a comparison: how many specimens, in which order.

    It says how many specimens per group are enough and what fewer can and can't show, and draws a random order.

    With a session, the order is written into its specimens.csv (which gets one row per specimen if it has none yet);
    an order that is already there is never replaced.

    Examples: breakyard design --groups "bonded, screwed, bolted" --scatter 8% --difference 20%

    breakyard design 2026-06-07-slipway --groups "bonded, screwed" --from 2026-05-03-slipway

    breakyard design --factors "wood=oak, ash; direction=along, across" --days 2
    """
    from breakyard.cli.asking import session_here
    from breakyard.cli.options import option
    from breakyard.document import to_plain
    from breakyard.plan.factorial import campaign, each_for, parse_factors
    from breakyard.plan.few import shows, single_pull
    from breakyard.plan.order import pulling_order
    from breakyard.plan.specimens import Instrument, plan_specimens
    from breakyard.units import parse_share

    opened = None if session is None else session_here(session, as_json)
    have = () if opened is None else opened.specimens()
    levels = None if factors is None else parse_factors(factors)
    if levels is not None and groups is not None:
        raise UsageError("--groups and --factors both say what is compared; use one of them")
    if levels is None and days > 1:
        raise UsageError("--days spreads combinations of factors: name them with --factors")
    names = _names(groups, have) if levels is None else max(levels.values(), key=len)
    out = Output(as_json)
    seen = None if not past else _past_scatter(past, out)
    cv = option("--scatter", parse_share, scatter or "10%") if seen is None else seen.cautious_cv
    if seen is not None and scatter is not None:
        raise UsageError("--scatter and --from both give the scatter; use one of them")
    wanted = option("--difference", parse_share, difference)
    sure, chance = option("--confidence", parse_share, confidence), option("--power", parse_share, power)
    instrument = Instrument(
        option("--own", parse_share, own), option("--shared", parse_share, shared), not separate
    )
    number = max(len(names), 2)
    plan = plan_specimens(
        wanted,
        cv,
        instrument=instrument,
        strengths=strengths.value,
        confidence=sure,
        power_wanted=chance,
        groups=number,
        seed=seed,
    )
    counts = sorted({1, 2, 3, 5, 10, plan.per_group, *([per_group] if per_group else [])})
    few = [shows(n, cv, confidence=sure, power_wanted=chance, groups=number) for n in counts]
    order: Sequence[PlannedPull] = ()
    spread: Sequence[PlannedSpecimen] = ()
    if levels is not None:
        each = per_group or each_for(plan.per_group, levels)
        spread = campaign(levels, each=each, days=days, seed=seed)
        written = _write_campaign(opened, have, spread) if opened is not None else None
    else:
        listed = _listed(names, have, per_group or plan.per_group)
        order = pulling_order(listed, seed=seed) if listed else ()
        written = _write(opened, have, order) if opened is not None and order else None
    out.document(
        {
            "schema": "breakyard.design/1",
            "groups": list(names) if levels is None else [],
            "factors": {} if levels is None else {name: list(listed) for name, listed in levels.items()},
            "days": days,
            "difference": wanted,
            "scatter": {"cv": cv, "from": "past sessions" if seen else "stated" if scatter else "assumed"}
            | ({} if seen is None else to_plain(seen)),
            "confidence": sure,
            "power": chance,
            "instrument": to_plain(instrument),
            "plan": to_plain(plan),
            "shows": to_plain(few),
            "single": to_plain(single_pull(cv, confidence=sure)),
            "seed": seed,
            "order": to_plain(order or spread),
            "written": None if written is None else str(written),
        }
    )
    _say_scatter(out, cv, seen, assumed=scatter is None)
    _say_plan(out, plan, wanted, sure, chance, cv, number)
    _say_few(out, few, single_pull(cv, confidence=sure), sure)
    if levels is None:
        _show_order(out, order, seed)
    else:
        _show_campaign(out, levels, spread, seed)
    if written is not None:
        out.say(f"The order is in {written}.")


def _say_scatter(out: Output, cv: float, seen: "PastScatter | None", *, assumed: bool) -> None:
    if seen is not None:
        out.say(
            f"Scatter in the past sessions: {100 * seen.cv:.1f} % ({seen.degrees_of_freedom} degrees of freedom); "
            f"planned with its upper 80 % limit, {100 * cv:.1f} %."
        )
    elif assumed:
        out.say(
            "No scatter given: 10 % is assumed, which is a guess. Give --scatter, or --from a past session."
        )


def _say_plan(
    out: Output, plan: "Plan", difference: float, sure: float, chance: float, cv: float, groups: int
) -> None:
    pairs = f" ({groups} groups, every pair compared)" if groups > 2 else ""
    out.say(
        f"{plan.per_group} specimens per group show a difference of {100 * difference:.3g} % with {100 * chance:.3g} % "
        f"power at {100 * sure:.3g} % confidence, if a group scatters by {100 * cv:.1f} %{pairs}."
    )
    out.say(
        f"Simulated with the instrument's errors: found in {100 * plan.simulated.power:.0f} % of sessions, and found "
        f"where there is none in {100 * plan.simulated.false_alarms:.1f} %; the exact formula alone asks for "
        f"{plan.exact_per_group}."
    )


def _say_few(out: Output, few: "Sequence[Shows]", alone: "SinglePull", sure: float) -> None:
    out.table(
        f"what n specimens per group show at a scatter of {100 * alone.cv:.1f} %",
        ("n", "mean within", "difference found", "95/95 bound", "true scatter", "weakest 5 % among them"),
        [
            (
                str(one.n),
                "unknown" if one.mean_within is None else f"+- {100 * one.mean_within:.0f} %",
                "none" if one.difference is None else f"{100 * one.difference:.0f} %",
                "none" if one.bound is None else f"{100 * one.bound:.0f} % of the mean",
                _times(one),
                f"{100 * one.weakest_is_weak:.0f} % likely",
            )
            for one in few
        ],
    )
    out.say(
        f"One against one ranks nothing by itself: even with the scatter known to be {100 * alone.cv:.1f} %, two alike "
        f"specimens differ by {100 * alone.difference:.0f} % or more 1 time in {1 / (1 - sure):.0f}."
    )


def _times(one: "Shows") -> str:
    if one.scatter_low is None or one.scatter_high is None:
        return "unknown"
    return f"{one.scatter_low:.2f} to {one.scatter_high:.2f} times seen"


def _names(groups: str | None, have: "Sequence[Specimen]") -> tuple[str, ...]:
    if groups is None:
        return tuple(dict.fromkeys(one.group for one in have if one.group))
    names = group_names(groups)
    if len(names) < 2:
        raise UsageError(
            f'--groups: "{groups}" is not a comparison; name two groups or more, separated by commas'
        )
    return names


def _past_scatter(past: Sequence[Path], out: Output) -> "PastScatter":
    """Scatter within the groups of past sessions. Raises: UsageError, DataError."""
    from breakyard.plan.few import cautious_scatter
    from breakyard.session.comparing import compare_results
    from breakyard.session.finding import find_pulls
    from breakyard.session.options import ReadOptions
    from breakyard.session.reading import read_pulls

    pulls = find_pulls(past)
    with out.progress("reading past pulls", len(pulls)) as step:
        reads = read_pulls(pulls, ReadOptions(), step)
    compared = compare_results(reads)
    return cautious_scatter(compared.pooled_cv or 0.0, compared.pooled_df)


def _listed(names: Sequence[str], have: "Sequence[Specimen]", per_group: int) -> list[tuple[str, str]]:
    """The specimens to order: those in the table, else `per_group` new ones of each group."""
    from breakyard.session.beginning import new_specimens

    known = [(one.group, one.id) for one in have if one.group in names]
    if known:
        return known
    taken: set[str] = {one.id for one in have}
    return [(one.group, one.id) for one in new_specimens(names, per_group, taken)]


def _write(session: "Session", have: "Sequence[Specimen]", order: "Sequence[PlannedPull]") -> Path:
    """Put the order into specimens.csv. Raises: UsageError if an order is there already."""
    from breakyard.session.files.specimens import Specimen

    path = session.layout.specimens_file
    if order and {one.specimen: one.order for one in order} == {
        one.id: one.order for one in have if one.order is not None
    }:
        return path  # this very order: the command was given before
    if any(one.order is not None for one in have):
        raise UsageError(f"{path}: there is an order already; clear its column to plan a new one")
    places = {one.specimen: one for one in order}
    known = [replace(one, order=places[one.id].order) if one.id in places else one for one in have]
    new = [
        Specimen(one.specimen, one.group, one.order)
        for one in sorted(order, key=lambda one: (one.group, one.specimen))
        if one.specimen not in {specimen.id for specimen in have}
    ]
    session.change_specimens(_unless_changed(path, have, [*known, *new]))
    return path


def _unless_changed(
    path: Path, have: "Sequence[Specimen]", planned: "Sequence[Specimen]"
) -> "Callable[[tuple[Specimen, ...]], Sequence[Specimen]]":
    """The planned table, unless another command has changed the one that it was planned from."""

    def change(now: "tuple[Specimen, ...]") -> "Sequence[Specimen]":
        if now != tuple(have):
            raise UsageError(f"{path}: another command has changed it meanwhile; plan again")
        return planned

    return change


def _show_order(out: Output, order: "Sequence[PlannedPull]", seed: int) -> None:
    if not order:
        out.say('Name the groups with --groups "a, b" to get a pulling order.')
        return
    out.say(
        f"Pulling order (seed {seed}); each line is a block, so that what drifts acts on all groups alike:"
    )
    for block in sorted({one.block for one in order}):
        out.say("  " + ", ".join(f"{one.order} {one.specimen}" for one in order if one.block == block))


def _show_campaign(
    out: Output, levels: "Mapping[str, Sequence[str]]", spread: "Sequence[PlannedSpecimen]", seed: int
) -> None:
    out.say(
        f"{len(spread)} specimens: every combination of {' and '.join(levels)}, a random order each day (seed {seed}). "
        "Afterwards: breakyard compare SESSION --by " + ",".join(levels) + " --block day"
    )
    for day in sorted({one.day for one in spread}):
        listed = ", ".join(f"{one.order} {one.specimen}" for one in spread if one.day == day)
        out.say(f"  day {day}: {listed}")


def _write_campaign(
    session: "Session", have: "Sequence[Specimen]", spread: "Sequence[PlannedSpecimen]"
) -> Path:
    """Put the campaign into an empty specimens.csv, its factors and the day as columns. Raises: UsageError."""
    from breakyard.session.files.layout import name_from
    from breakyard.session.files.specimens import Specimen

    path = session.layout.specimens_file
    planned = tuple(
        Specimen(
            name_from(one.specimen),
            " ".join(one.levels.values()),
            one.order,
            more={**one.levels, "day": str(one.day)},
        )
        for one in spread
    )
    if tuple(have) == planned:
        return path  # this very campaign: the command was given before
    if have:
        raise UsageError(f"{path}: there are specimens already; plan factors in a session without any")
    session.change_specimens(_unless_changed(path, have, planned))
    return path
