"""breakyard import: recordings of other instruments join a session."""

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from breakyard.cli.asking import ask_converter
from breakyard.cli.options import OneSpecimenOption, option
from breakyard.cli.output import STATUS_WRONG, JsonOption, Output, UnitOption, near
from breakyard.errors import UsageError

if TYPE_CHECKING:
    from breakyard.run import Converter
    from breakyard.session.importing import Found


class ZeroChoice(StrEnum):
    """Where the zero of a recording is."""

    INSTRUMENT = "instrument"
    START = "start"
    END = "end"


def command(
    recordings: Annotated[
        list[Path],
        typer.Argument(
            help="CSV files with a column of times and one of loads or counts; the field page's files; "
            "or one archive's folder."
        ),
    ],
    session: Annotated[
        Path | None,
        typer.Option(
            "--session",
            "-s",
            help="Session folder; a new one is made if it is not there. Default: the one you are in.",
        ),
    ] = None,
    name: Annotated[str, typer.Option(help="Name in the session; default: the file's.")] = "",
    specimen: Annotated[str | None, typer.Option(help="Specimen that was pulled.")] = None,
    calibration: Annotated[
        bool, typer.Option("--calibration", help="Known masses were hung: not a pull, but for calibrate.")
    ] = False,
    group: Annotated[
        str | None,
        typer.Option(help="Group of what was pulled; put into specimens.csv, under the files' names."),
    ] = None,
    load_unit: Annotated[
        str | None,
        typer.Option(help='Unit of the loads in the file, or "counts", where its header does not say.'),
    ] = None,
    time_column: Annotated[
        str | None, typer.Option(help="Header or number (from 1) of the column of times.")
    ] = None,
    load_column: Annotated[str | None, typer.Option(help="Header or number of the column of loads.")] = None,
    extension_column: Annotated[
        str | None, typer.Option(help='Header or number of the extension; "none" to leave it aside.')
    ] = None,
    time_unit: Annotated[
        str | None, typer.Option(help="s, ms, us, ns, min or h, where the header does not say.")
    ] = None,
    extension_unit: Annotated[str | None, typer.Option(help="m, cm, mm, um, in or ft.")] = None,
    separator: Annotated[str | None, typer.Option(help="semicolon, comma, tab or blanks.")] = None,
    decimal: Annotated[str | None, typer.Option(help="comma or point.")] = None,
    header_rows: Annotated[int | None, typer.Option(min=0, help="Rows above the numbers.")] = None,
    rate: Annotated[
        str | None, typer.Option(help="Readings a second, where the file has no times: 50, say.")
    ] = None,
    accuracy: Annotated[
        float | None,
        typer.Option(
            min=0,
            max=50,
            help="Standard uncertainty of the instrument, in percent of the load; asked for in a terminal. "
            "Without an answer a wide one is assumed.",
        ),
    ] = None,
    zero: Annotated[
        ZeroChoice | None,
        typer.Option(
            help="Where the zero is: what the instrument was zeroed to, before the pull or after it. Default: judged "
            "from all three."
        ),
    ] = None,
    converter: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="What made the counts: hx711-128, hx711-64, hx711-32 (its gain), another by bits, full scale and "
            'filter, as "24 bits, 20 mV/V, sinc 3" or "12 bits unsigned, no filter", or unknown. Default: judged by '
            "the calibration and the largest counts; asked for in a terminal where they do not tell.",
        ),
    ] = None,
    one_specimen: OneSpecimenOption = False,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring in recordings of any other instrument (CSV), or a backup.

    Several files at once if they are written alike. Separator, decimal mark, header rows, columns and units are found
    where the file tells them; you are asked for the rest. What was not taken as it stood (times that repeat, rows
    without a load) is reported. The originals are kept as they are, each with a note of how it was read.

    What the field page passes on (its .run file and its table) is taken together: each run with its notes.

    An archive made by breakyard export --archive becomes sessions' folders again, inside the folder of --session.

    Example: breakyard import pull7.csv pull8.csv --session 2026-05-03-slipway --accuracy 0.5
    """
    if any(one.is_dir() for one in recordings):
        if len(recordings) > 1:
            raise UsageError("an archive's folder is imported alone; files can be several")
        _restore(recordings[0], session or Path(), Output(as_json))
        return
    from breakyard.session.passed_on import is_table

    if any(one.suffix == ".run" or is_table(one) for one in recordings):
        _join(recordings, session, Output(as_json))
        return
    from breakyard.formats.recording import CsvOptions
    from breakyard.session import importing
    from breakyard.session.converters import parse_converter
    from breakyard.session.finding import shown_unit

    if group is not None and (calibration or not group.strip()):
        raise UsageError("--group names what was pulled; a recording of known masses has none")
    if specimen is not None and len(recordings) > 1:
        raise UsageError("--specimen is for one recording; write the others into runs/NAME.toml")
    options = CsvOptions(
        time_column=_column(time_column),
        load_column=_column(load_column),
        extension_column=_column(extension_column),
        time_unit=time_unit,
        unit=load_unit,
        extension_unit=extension_unit,
        separator=separator,
        decimal=decimal,
        header_rows=header_rows,
        rate=rate,
    )
    said: dict[str, str | bool] = {}
    if zero is not None:
        said["zero"] = zero.value
    if converter is not None:
        option("--converter", parse_converter, converter)
    if one_specimen:
        said["one_specimen"] = True
    found, refused = importing.read_files(recordings, options, name=name, calibration=calibration)
    out = Output(as_json)
    stated = None if accuracy is None else accuracy / 100
    if stated is None and any(one.holds_loads for one in found) and out.can_ask:
        stated = _ask_accuracy()
    documents = []
    if found:
        new = session is not None and not session.exists()
        kept_in = importing.session_for(session, unit)
        if new:
            out.say(f"made: {session}, a new session")
        shown = shown_unit(unit or kept_in.info.unit)
        if group is not None:
            importing.put_into_group(kept_in, [specimen or one.name for one in found], group)
        counted = any(not one.holds_loads for one in found)
        judged = importing.judged_converter(kept_in, found) if counted and converter is None else None
        if counted and converter is None and judged is None and out.can_ask:
            converter = ask_converter()
        for one in found:
            try:
                path = importing.keep(
                    kept_in,
                    one,
                    specimen=specimen,
                    accuracy=stated,
                    calibration=calibration,
                    said=said,
                    converter=converter,
                )
            except (UsageError, ValueError) as error:
                if len(recordings) == 1:
                    raise
                refused.append(importing.RefusedFile(one.path, f"{one.path.name}: {error}"))
                continue
            documents.append(importing.document(one, path, stated, converter))
            _tell(out, one, path, shown, several=len(recordings) > 1)
        _tell_accuracy(out, found, stated)
        if counted:
            _tell_converter(out, converter, judged)
    failed = [{"file": str(one.path), "problem": one.problem} for one in refused]
    if len(recordings) == 1:
        out.document({"schema": "breakyard.import/1", **documents[0]})
    else:
        out.document({"schema": "breakyard.imports/1", "recordings": documents, "refused": failed})
    if documents and not calibration:
        for line in importing.without_specimen(kept_in, [str(one["name"]) for one in documents]):
            out.say(line)
    if documents:
        out.say(f"next: {_next(documents, kept_in.root, calibration)}")
    for line in importing.refused_once(refused):
        out.warn(line)
    if refused:
        raise typer.Exit(STATUS_WRONG)


def _tell(out: Output, found: "Found", path: Path, unit: str, *, several: bool) -> None:
    from breakyard.session.importing import in_words

    if several:
        out.say(f"{found.path.name}:")
    for line in in_words(found, unit):
        out.say(f"  {line}" if several else line)
    out.say(f"  kept: {near(path)}" if several else f"kept: {near(path)}")


def _tell_accuracy(out: Output, found: "Sequence[Found]", stated: float | None) -> None:
    from breakyard.curve import UNSTATED_ACCURACY

    if not any(one.holds_loads for one in found):
        return
    if stated is not None:
        out.say(f"accuracy: {100 * stated:g} % of the load (standard uncertainty), as stated")
    else:
        out.say(
            f"accuracy: not stated, so {100 * UNSTATED_ACCURACY:g} % of the load (standard uncertainty) is assumed; "
            "import again with --accuracy to state it"
        )


def _tell_converter(out: Output, stated: str | None, judged: "Converter | None") -> None:
    from breakyard.session.converters import in_words, parse_converter

    named = None if stated is None else parse_converter(stated)
    if named is not None:
        out.say(f"converter: {in_words(named)}, as stated")
    elif judged is not None:
        out.say(f"converter: {in_words(judged)}, as the calibration or the largest count says")
    else:
        out.say(
            "converter: unknown, and with it its limits and its filter; what the filter may have hidden goes into the "
            "interval; import again with --converter to state it"
        )


def _ask_accuracy() -> float | None:
    """The instrument's standard uncertainty as a fraction; None if its owner does not know it."""
    from breakyard.curve import UNSTATED_ACCURACY

    question = (
        "How accurate is the instrument: standard uncertainty in percent of the load, from its certificate? "
        f"(Enter if you do not know: {100 * UNSTATED_ACCURACY:g} % is assumed)"
    )
    while True:
        text = str(typer.prompt(question, default="", show_default=False, err=True))
        text = text.strip().removesuffix("%").strip().replace(",", ".")
        if not text:
            return None
        try:
            percent = float(text)
        except ValueError:
            percent = -1.0
        if 0.0 <= percent <= 50.0:
            return percent / 100.0
        typer.echo("a number from 0 to 50, as 0.5", err=True)


def _next(documents: "Sequence[dict[str, object]]", root: Path, calibration: bool) -> str:
    if calibration:
        return f'breakyard calibrate {near(Path(str(documents[0]["file"])))} --masses "0, 20 kg, 40 kg, 20 kg, 0"'
    return f"breakyard summarize {near(Path(str(documents[0]['file'])) if len(documents) == 1 else root)}"


def _join(paths: "Sequence[Path]", folder: Path | None, out: Output) -> None:
    """Runs that the field page passed on, with its table. Raises: UsageError, DataError."""
    from breakyard.errors import DataError
    from breakyard.session import importing, passed_on
    from breakyard.session.files.notes import RunNotes
    from breakyard.session.recordings import load_run

    tables = [one for one in paths if passed_on.is_table(one)]
    joined_files = [one for one in paths if one.suffix == ".run"]
    if others := [one for one in paths if one not in tables and one not in joined_files]:
        raise UsageError(f"{others[0]}: not from the field page; import it alone")
    if not joined_files:
        raise UsageError(f"{tables[0]}: a table alone; name the .run file that was passed on with it as well")
    said: dict[tuple[str, int], RunNotes] = {}
    for table in tables:
        said |= passed_on.read_table(table)
    runs: list[passed_on.PassedOn] = []
    for path in joined_files:
        try:
            runs += passed_on.take_apart(path.read_bytes(), str(path))
        except OSError as error:
            raise DataError(f"{path}: cannot be read ({error.strerror or error})") from error
    session = importing.session_for(folder)
    joined = passed_on.join(session, runs, said)
    for one in joined:
        words = f" for {one.specimen}" if one.specimen else ""
        out.say(f"kept: {near(one.path)}{words}" if one.new else f"there already: {near(one.path)}")
        if not load_run(one.path).loss.complete:
            out.warn(
                f"{near(one.path)}: not complete: its end, or a part of it, is missing; the rest is read"
            )
    if joined:
        out.say(f"next: breakyard next {near(session.root)}")
    out.document(
        {
            "schema": "breakyard.joined/1",
            "runs": [
                {"file": str(one.path), "specimen": one.specimen or None, "new": one.new} for one in joined
            ],
        }
    )


def _restore(archive: Path, into: Path, out: Output) -> None:
    from breakyard.formats.archive import is_archive
    from breakyard.session.archiving import restore

    if not is_archive(archive):
        raise UsageError(f"{archive}: this folder is no archive made by breakyard export --archive")
    restored = restore(archive, into)
    out.document(
        {
            "schema": "breakyard.restored/1",
            "folder": str(into),
            "sessions": {name: one.count for name, one in restored.items()},
            "renamed": {name: dict(one.renamed) for name, one in restored.items() if one.renamed},
        }
    )
    for name, one in restored.items():
        out.say(f"{into / name}: {one.count} files, each as it was")
        for was, now in one.renamed:
            out.say(f"  {was} is now {now}: not every system takes the old name")


def _column(text: str | None) -> str | int | None:
    return int(text) if text is not None and text.isdecimal() and len(text) < 7 else text
