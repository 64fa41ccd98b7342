"""breakyard export: curves and results as files that anything opens."""

from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from breakyard.cli.options import (
    AccuracyOption,
    CalibrationOption,
    MisalignmentOption,
    TemperatureOption,
)
from breakyard.cli.output import STATUS_NO, JsonOption, Output, UnitOption, told_once
from breakyard.errors import BreakyardError, UsageError

if TYPE_CHECKING:
    from breakyard.curve import LoadCurve
    from breakyard.session.options import ReadOptions
    from breakyard.session.reading import PullResult


class Decimal(StrEnum):
    """Which mark spreadsheets of the reader's country expect."""

    POINT = "point"
    COMMA = "comma"


class Format(StrEnum):
    """How files are written."""

    CSV = "csv"
    JSON = "json"
    PARQUET = "parquet"


def command(
    recordings: Annotated[list[Path], typer.Argument(help="Runs, recordings or sessions' folders.")],
    to: Annotated[Path, typer.Option("--to", help="Folder to write into; made if it is not there.")],
    form: Annotated[
        Format, typer.Option("--format", "-f", help="csv for spreadsheets; json and parquet for programs.")
    ] = Format.CSV,
    archive: Annotated[
        bool,
        typer.Option(
            "--archive",
            help="Put whole sessions into a partitioned Parquet data set; again, to replace them.",
        ),
    ] = False,
    tidy: Annotated[
        bool,
        typer.Option(
            "--tidy",
            help="Write one publication: a table of all pulls with your own columns, curves, photos, a codebook.",
        ),
    ] = False,
    licence: Annotated[
        str | None,
        typer.Option("--licence", help="With --tidy: CC0-1.0, CC-BY-4.0, CC-BY-SA-4.0, ODbL-1.0 ..."),
    ] = None,
    title: Annotated[str, typer.Option("--title", help="With --tidy: what the publication is called.")] = "",
    calibration: CalibrationOption = None,
    unit: UnitOption = None,
    decimal: Annotated[
        Decimal, typer.Option(help="Decimal mark; with a comma, semicolons separate the columns.")
    ] = Decimal.POINT,
    accuracy: AccuracyOption = None,
    misalignment: MisalignmentOption = None,
    temperature: TemperatureOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write curves and one table of all results, for other programs.

    The load of a curve counts from the pull's own zero where one was found. Existing files are replaced. JSON and
    Parquet hold newtons and seconds, whatever unit is shown elsewhere. An archive also keeps every file of each
    session, byte for byte: breakyard import ARCHIVE brings the folders back. A publication is a Frictionless data
    package; it holds what people wrote, so look at it before you give it away. Of several sessions each gets a folder
    of its own.

    Examples: breakyard export 2026-05-03-slipway --to curves --unit kN

    breakyard export sessions/* --archive --to club-archive

    breakyard export day1 day2 --tidy --licence CC-BY-4.0 --to publication
    """
    from breakyard.disk.atomic import write_atomically
    from breakyard.session.finding import find_pulls, shown_unit
    from breakyard.session.options import ReadOptions
    from breakyard.session.publishing import curve_places
    from breakyard.session.reading import not_kept, read_pulls
    from breakyard.session.recordings import Curves

    if tidy and (archive or form is not Format.CSV or decimal is Decimal.COMMA):
        raise UsageError(
            "--tidy writes plain CSV with a description; leave out --archive, --format and --decimal"
        )
    if (licence is not None or title) and not tidy:
        raise UsageError("--licence and --title belong to a publication: add --tidy")
    if licence is not None:
        from breakyard.formats.tidy import licence_named

        licence_named(licence)  # says what is wrong before the work begins
    if archive and form is Format.JSON:
        raise UsageError("--archive writes Parquet; leave out --format json")
    if (archive or form is not Format.CSV) and (unit is not None or decimal is Decimal.COMMA):
        raise UsageError("JSON and Parquet hold newtons and plain numbers; leave out --unit and --decimal")
    if archive or form is Format.PARQUET:
        from breakyard.formats.arrow import arrow

        arrow()  # says what is missing before the work begins
    pulls = find_pulls(_whole(recordings) if archive or tidy else recordings)
    chosen = shown_unit(unit, pulls)
    marks = {"separator": ";", "decimal": ","} if decimal is Decimal.COMMA else {}
    out = Output(as_json)
    options = ReadOptions(calibration, accuracy, misalignment_deg=misalignment, temperature_c=temperature)
    with out.progress("reading pulls", len(pulls)) as step:
        results = read_pulls(pulls, options, step, processes=None)
    for reason in not_kept(results):
        out.warn(f"read, but not kept: {reason}")
    if tidy or archive:
        for line in told_once(results):
            out.warn(f"no summary: {line}")
    if tidy:
        _publish(out, to, results, options, chosen, licence, title)
        return
    to.mkdir(parents=True, exist_ok=True)
    if archive:
        _archive(out, to, results, options)
        return
    places = curve_places(results)
    written: list[Path] = []
    left_out: list[PullResult] = []
    curves = Curves(calibration, accuracy_percent=accuracy)
    for result, place in zip(results, places, strict=True):
        try:
            curve = curves.of(result.pull)
        except BreakyardError as error:
            if len(results) == 1:
                raise
            left_out.append(replace(result, summary=None, problem=str(error)))
            continue
        zero_n = result.summary.zero.load_n if result.summary is not None else 0.0
        path = to / f"{place}.curve.{form.value}"
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomically(path, _curve(curve, form, chosen, zero_n, marks))
        written.append(path)
    if any(result.summary is not None for result in results):
        path = to / f"summaries.{form.value}"
        write_atomically(path, _summaries(results, form, chosen, marks))
        written.append(path)
    out.document({"schema": "breakyard.export/1", "files": [str(path) for path in written]})
    for path in written:
        out.say(str(path))
    gone = {(one.pull.path, one.pull.name) for one in left_out}
    for line in told_once(result for result in results if (result.pull.path, result.pull.name) not in gone):
        out.warn(f"no summary: {line}")
    for line in told_once(left_out):
        out.warn(f"left out: {line}")
    if left_out:
        raise typer.Exit(STATUS_NO)


def _whole(recordings: Sequence[Path]) -> list[Path]:
    """The sessions that paths lie in, each once: an archive holds them whole."""
    from breakyard.session.session import open_session

    return list(dict.fromkeys(open_session(path).root.resolve() for path in recordings))


def _publish(
    out: Output,
    to: Path,
    results: "Sequence[PullResult]",
    options: "ReadOptions",
    unit: str,
    licence: str | None,
    title: str,
) -> None:
    from breakyard.session.publishing import publish

    written = publish(results, options, to, unit=unit, licence=licence, title=title)
    out.document({"schema": "breakyard.publication/1", "files": [str(path) for path in written]})
    out.say(
        f"{len(results)} pulls in {to}: pulls.csv, curves, photos; what the columns mean is in codebook.md"
    )
    if licence is None:
        out.say(
            "No licence is stated, so nobody may use it without asking; say --licence CC-BY-4.0, for example."
        )
    out.say("It holds what people wrote in the sessions' files: look at it before you give it away.")


def _archive(out: Output, to: Path, results: "Sequence[PullResult]", options: "ReadOptions") -> None:
    from breakyard.session.archiving import add_to_archive

    added = add_to_archive(to, results, options)
    out.document({"schema": "breakyard.archive/1", "archive": str(to), "sessions": added})
    for name, count in added.items():
        out.say(f"{name}: {count} pulls in {to}")


def _curve(curve: "LoadCurve", form: Format, unit: str, zero_n: float, marks: dict[str, str]) -> bytes:
    if form is Format.PARQUET:
        from breakyard.formats.write_parquet import curve_parquet

        return curve_parquet(curve, zero_n=zero_n)
    if form is Format.JSON:
        from breakyard.formats.write_json import curve_json

        return curve_json(curve, zero_n=zero_n).encode()
    from breakyard.formats.write_csv import curve_csv

    return curve_csv(curve, unit=unit, zero_n=zero_n, **marks).encode("utf-8-sig")


def _summaries(results: "Sequence[PullResult]", form: Format, unit: str, marks: dict[str, str]) -> bytes:
    good = [(result.pull, result.summary) for result in results if result.summary is not None]
    summaries = [summary for _, summary in good]
    sessions = [pull.session.root.resolve().name if pull.session is not None else "" for pull, _ in good]
    specimens, groups = [pull.specimen for pull, _ in good], [pull.group for pull, _ in good]
    if form is Format.PARQUET:
        from breakyard.formats.write_parquet import summaries_parquet

        return summaries_parquet(
            summaries, more={"session": sessions, "specimen": specimens, "specimen_group": groups}
        )
    if form is Format.JSON:
        from breakyard.formats.write_json import json_text
        from breakyard.session.tables import table_document

        return json_text(table_document(results)).encode()
    from breakyard.formats.write_csv import summaries_csv

    more = {"session": sessions, "specimen": specimens, "group": groups}
    return summaries_csv(summaries, unit=unit, more=more, **marks).encode("utf-8-sig")
