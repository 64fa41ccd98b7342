"""breakyard summarize: each pull's peak with its interval, how it broke, and what to doubt."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from breakyard.cli.budget_words import show_budget
from breakyard.cli.options import (
    AccuracyOption,
    CalibrationOption,
    MisalignmentOption,
    OneSpecimenOption,
    PullSpeedOption,
    ResponseOption,
    TemperatureOption,
    pull_speed,
)
from breakyard.cli.output import STATUS_NO, JsonOption, Output, UnitOption, fail, near, told_once

if TYPE_CHECKING:
    from breakyard.pull.results import Summary
    from breakyard.session.pulls import Pull
    from breakyard.session.reading import PullResult


def command(
    recordings: Annotated[
        list[Path],
        typer.Argument(help="Runs, recordings (CSV) or a session's folder, which means all its pulls."),
    ],
    calibration: CalibrationOption = None,
    unit: UnitOption = None,
    coverage: Annotated[float, typer.Option(min=0.5, max=0.999, help="Coverage of the intervals.")] = 0.95,
    accuracy: AccuracyOption = None,
    misalignment: MisalignmentOption = None,
    temperature: TemperatureOption = None,
    response: ResponseOption = None,
    speed: PullSpeedOption = None,
    one_specimen: OneSpecimenOption = False,
    as_json: JsonOption = False,
) -> None:
    """Give each pull its peak with an interval, and how it broke.

    In a session the results are written to results/ beside the runs; a pull whose recording and calibration have not
    changed is not computed again. A single pull is described line by line, with its uncertainty budget. A recording of
    several pulls gives a row for each: NAME#1, NAME#2 and so on. Its notes (runs/NAME.toml) name their specimens, as in
    specimens = ["S1", "S2"]; without that they belong to no group. One specimen that was loaded again and again is one
    row with --one-specimen; one_specimen = true in the notes says it to every command.

    Example: breakyard summarize 2026-05-03-slipway --unit kgf
    """
    from breakyard.cli.results_table import show
    from breakyard.session.finding import find_pulls, shown_unit
    from breakyard.session.options import ReadOptions
    from breakyard.session.reading import read_pulls
    from breakyard.session.tables import table_document, write_tables

    pulls = find_pulls(recordings)
    out = Output(as_json)
    options = ReadOptions(
        calibration, accuracy, coverage, misalignment, temperature, response, pull_speed(speed), one_specimen
    )
    with out.progress("reading pulls", len(pulls)) as step:
        results = read_pulls(pulls, options, step, processes=None)
    problems = [result for result in results if result.summary is None]
    if len(results) == 1 and problems:
        fail(problems[0].problem)
    chosen = shown_unit(unit, pulls)
    not_written = write_tables(results, chosen)
    if len(results) == 1 and results[0].summary is not None:
        out.document(results[0].summary.to_json())
    else:
        out.document(table_document(results))
    show(out, results, chosen)
    if len(results) == 1 and results[0].summary is not None:
        print_summary(out, results[0].summary, chosen)
        show_budget(out, results[0].summary, chosen)
    else:
        say_parts(out, results)
    if len(recordings) == 1 and recordings[0].is_dir() and len(results) > len(problems):
        out.say(
            f"next: breakyard compare {recordings[0]}   or, for one page: breakyard report {recordings[0]}"
        )
    for part in unfinished(pulls):
        out.say(
            f"  {part.name}: the beginning of a run that is not here as a whole; breakyard logger fetch brings the rest"
        )
    for line in told_once(problems):
        out.warn(line)
    if not_written:
        out.warn(f"shown, but not kept: {not_written[0]}")
    if problems:
        raise typer.Exit(STATUS_NO)


def unfinished(pulls: "Sequence[Pull]") -> tuple[Path, ...]:
    """What is left of runs that were not fetched to their end, in the sessions that are read as a whole."""
    roots = {pull.session.root: pull.session for pull in pulls if pull.session is not None}
    return tuple(part for session in roots.values() if len(pulls) > 1 for part in session.unfinished())


def print_summary(out: Output, summary: "Summary", unit: str) -> None:
    """Print one pull's story, line by line."""
    if out.as_json:
        return
    from breakyard.report.words.account import account

    out.table("The pull, line by line", ("", ""), account(summary, unit))
    if summary.cycles:
        from breakyard.report.words.cycle_words import cycle_headings, cycle_rows

        out.table("Every loading", cycle_headings(summary, unit), cycle_rows(summary, unit))


def say_parts(out: Output, results: "Sequence[PullResult]") -> None:
    """Say which recordings held several pulls, when each began, and whether they look like one specimen's."""
    from breakyard.pull.split import CYCLES

    by_file: dict[Path, list[PullResult]] = {}
    for result in results:
        if result.pull.part is not None:
            by_file.setdefault(result.pull.path, []).append(result)
    for path, parts in by_file.items():
        cycles = any(one.summary is not None and CYCLES in one.summary.flags for one in parts)
        begun = ", ".join("?" if one.summary is None else f"{one.summary.onset_s:.1f}" for one in parts)
        out.say(f"  {path.name}: {len(parts)} pulls in one recording, begun at {begun} s")
        in_session = parts[0].pull.session is not None
        if cycles:
            also = f" (or write into {path.stem}.toml: one_specimen = true)" if in_session else ""
            out.say(
                "    all but the last were let out slowly; if they are one specimen, loaded again and again:"
            )
            out.say(f"    breakyard summarize {near(path)} --one-specimen{also}")
        if not parts[0].pull.listed and in_session:
            out.say(f'    to name their specimens, write into {path.stem}.toml: specimens = ["...", ...]')
