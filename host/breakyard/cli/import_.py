"""breakyard import: a recording of another instrument joins a session."""

from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.output import JsonOption, Output
from breakyard.errors import UsageError


def command(
    recording: Annotated[
        Path,
        typer.Argument(
            help="CSV file with a column of times and one of loads or counts; or an archive's folder."
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
    unit: Annotated[
        str | None,
        typer.Option(
            "--unit", "-u", help='Unit of the loads in the file, or "counts", where its header does not say.'
        ),
    ] = None,
    time_column: Annotated[
        str | None, typer.Option(help="Header or number (from 1) of the column of times.")
    ] = None,
    load_column: Annotated[str | None, typer.Option(help="Header or number of the column of loads.")] = None,
    extension_column: Annotated[
        str | None, typer.Option(help="Header or number of the extension, if any.")
    ] = None,
    time_unit: Annotated[
        str | None, typer.Option(help="s, ms, us, min or h, where the header does not say.")
    ] = None,
    extension_unit: Annotated[str | None, typer.Option(help="m, cm, mm, um, in or ft.")] = None,
    separator: Annotated[str | None, typer.Option(help="semicolon, comma or tab.")] = None,
    decimal: Annotated[str | None, typer.Option(help="comma or point.")] = None,
    header_rows: Annotated[int | None, typer.Option(min=0, help="Rows above the numbers.")] = None,
    accuracy: Annotated[
        float | None,
        typer.Option(min=0, max=50, help="Standard uncertainty of the instrument, in percent of the load."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Bring in a recording of any other instrument.

    Separator, decimal mark, header rows, columns and units are found where the file tells them; what it leaves open is
    asked for. The original is kept as it is, with a note of how it was read.

    An archive made by breakyard export --archive becomes sessions' folders again, inside the folder of --session.

    Example: breakyard import pull7.csv --session 2026-05-03-slipway --unit kN
    """
    if recording.is_dir():
        _restore(recording, session or Path(), Output(as_json))
        return
    from breakyard.formats.read_csv import parse_csv
    from breakyard.formats.recording import CsvOptions
    from breakyard.session.files.info import SessionInfo
    from breakyard.session.files.layout import name_from
    from breakyard.session.session import create_session, find_session

    options = CsvOptions(
        time_column=_column(time_column),
        load_column=_column(load_column),
        extension_column=_column(extension_column),
        time_unit=time_unit,
        unit=unit,
        extension_unit=extension_unit,
        separator=separator,
        decimal=decimal,
        header_rows=header_rows,
    )
    data = recording.read_bytes()
    read = parse_csv(data, name=name or recording.stem, options=options, where=recording.name)
    kept_in = find_session(session or Path())
    if kept_in is None:
        if session is None:
            raise UsageError(
                "no session in this folder or above it; name one, new or not, with --session FOLDER"
            )
        kept_in = create_session(session, SessionInfo())
    chosen = name_from(name or recording.stem)
    path = kept_in.add_recording(
        chosen,
        data,
        read,
        original_name=recording.name,
        specimen=specimen,
        accuracy=None if accuracy is None else accuracy / 100,
    )
    out = Output(as_json)
    settled = read.reading.as_options().to_dict()
    out.document(
        {
            "schema": "breakyard.import/1",
            "file": str(path),
            "name": chosen,
            "samples": int(read.time_s.size),
            "duration_s": float(read.time_s[-1] - read.time_s[0]),
            "median_step_s": read.period_s,
            "read_as": settled,
        }
    )
    out.say(
        f"{read.time_s.size} samples over {read.time_s[-1] - read.time_s[0]:.1f} s, median step {read.period_s:.4g} s"
    )
    out.say("read as: " + ", ".join(f"{key.replace('_', ' ')} {value!r}" for key, value in settled.items()))
    out.say(f"kept: {path}")
    out.say(f"next: breakyard summarize {path}")


def _restore(archive: Path, into: Path, out: Output) -> None:
    from breakyard.formats.archive import is_archive
    from breakyard.session.archiving import restore

    if not is_archive(archive):
        raise UsageError(f"{archive}: this folder is no archive made by breakyard export --archive")
    restored = restore(archive, into)
    out.document({"schema": "breakyard.restored/1", "folder": str(into), "sessions": restored})
    for name, count in restored.items():
        out.say(f"{into / name}: {count} files, each as it was")


def _column(text: str | None) -> str | int | None:
    return int(text) if text is not None and text.isdecimal() and len(text) < 7 else text
