"""breakyard check: one known mass before the day's pulls; does the calibration still tell the truth?"""

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from breakyard.cli.options import CalibrationOption
from breakyard.cli.output import STATUS_NO, JsonOption, Output, UnitOption
from breakyard.errors import CalibrationError, UsageError

if TYPE_CHECKING:
    from breakyard.calibration import Calibration, KnownLoad
    from breakyard.calibration.check_weighing import CheckCounts, CheckVerdict, CheckWeighing
    from breakyard.calibration.known_loads import Force
    from breakyard.run import Run
    from breakyard.session.session import Session

SHOWN: Final = 12
"""Checks in the chart of the terminal, the latest last."""
HALF: Final = 10
"""Characters from the middle of the chart to the end of what is allowed."""


def command(
    recording: Annotated[
        Path | None,
        typer.Argument(
            help="Run: the empty hook, the known mass for ten seconds, better the empty hook again."
        ),
    ] = None,
    mass: Annotated[
        str | None,
        typer.Option(help='What hung, as "20 kg" or "3 x 20 kg [A]"; default: what hung at the last check.'),
    ] = None,
    mass_limit: Annotated[
        float | None, typer.Option(help="How far off a mass may be that states no +-, in percent.")
    ] = None,
    remount: Annotated[
        bool,
        typer.Option(
            "--remount",
            help="The recording shows empty, mass, empty, mass, empty, mass, empty, the cell taken out of the line and "
            "put back in between: how far another mounting changes the reading.",
        ),
    ] = False,
    hold: Annotated[
        bool,
        typer.Option(
            "--hold",
            help="The recording shows one mass hanging for half an hour: how far the reading creeps.",
        ),
    ] = False,
    calibration: CalibrationOption = None,
    counts: Annotated[
        float | None, typer.Option(help="Instead of a recording: mean counts under the mass.")
    ] = None,
    zero: Annotated[float | None, typer.Option(help="With --counts: mean counts of the empty hook.")] = None,
    logger: Annotated[str, typer.Option(help="With --counts: name of the logger.")] = "",
    latitude: Annotated[
        float | None,
        typer.Option(help="Where the check is done; default: the session's place, else the calibration's."),
    ] = None,
    height: Annotated[float | None, typer.Option(help="Height above the sea in metres.")] = None,
    history: Annotated[
        Path | None,
        typer.Option(
            help="Table of checks to add to; default: checks/LOGGER.csv in the session or beside the run."
        ),
    ] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", "-p", help="Draw all checks: a file ending in .png or .svg.")
    ] = None,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Weigh one known mass: does the calibration still hold today?

    The load of the mass is compared with what the calibration shows. They may differ by as much as the calibration's
    own interval there; beyond that the status is 1, and it is time to calibrate again. Each check is added to a table
    per logger; from four days on, over a week or more, a drift is reported, with the day on which it would leave the
    interval. A mass that was also used for the calibration makes the check sharper, because its own error cancels.

    With --remount or --hold something else is measured instead, which every later reading of this logger's pulls takes
    in place of a wide default: how far another mounting changes the reading, or how far it creeps. Any mass will do.

    Example: breakyard check runs/check.run --mass "20 kg"

    Example: breakyard check runs/remount.run --remount

    Example: breakyard check --counts 178862 --zero 49404 --mass "20 kg" -c calibrations/weights.json
    """
    from breakyard.calibration.check_weighing import as_calibrated, judge, weigh
    from breakyard.session.files.checks import add_check, check_file
    from breakyard.session.files.checks import history as all_checks
    from breakyard.session.finding import shown_unit
    from breakyard.session.in_force import load_calibration
    from breakyard.session.in_use import mounted
    from breakyard.session.known_loads import gain_of
    from breakyard.session.recordings import load_counts
    from breakyard.session.session import find_session

    if remount or hold:
        if recording is None or (remount and hold):
            raise UsageError("--remount and --hold each need a recording of their own")
        _measure_in_use(recording, remount, calibration, Output(as_json))
        return
    if (recording is None) == (counts is None):
        raise UsageError("give the recording of the check, or --counts with --zero")
    if counts is not None and zero is None:
        raise UsageError("--counts needs --zero: the mean counts of the empty hook")
    where = recording if recording is not None else Path.cwd() / "check"
    session = find_session(where)
    run = None if recording is None else load_counts(recording)
    made = load_calibration(calibration, session, where.name)
    serial = logger or _serial(run)
    table = history or check_file(session.root if session else where.parent, serial)
    earlier, problems = all_checks(table)
    text = mass or (earlier[-1].text if earlier else None)
    if text is None:
        raise UsageError('say what hung with --mass "20 kg"; later checks remember it')
    load = as_calibrated(made, _load(text, mass_limit))
    if run is not None:
        if made.gain is not None and gain_of(run, None) not in (None, made.gain):
            raise UsageError(
                f"{where.name} was recorded with another gain than the calibration's {made.gain}"
            )
        reading = _reading(run, load, where.name)
    else:
        reading = _stated(counts, zero)
    place = _place(session, latitude, height, made, load)
    check = weigh(
        made,
        load,
        reading,
        when_utc_s=_when(run),
        same_place=place is None,
        known=place,
        mounted=mounted(session.root if session else where.parent, serial),
        logger=serial,
        source=where.name if recording is not None else "counts given",
    )
    add_check(table, check)
    own = [one for one in all_checks(table)[0] if one.calibration_hash == made.content_hash]
    verdict = judge(made, own)
    if picture is not None:
        from breakyard.report.figures.check_figure import check_figure
        from breakyard.session.files.pictures import save_picture

        save_picture(check_figure(own, verdict, title=f"Check weighings, logger {serial}"), picture)
    out = Output(as_json)
    out.document(_document(made, check, own, verdict, table, picture))
    _show(out, made, check, own, verdict, shown_unit(unit or (session.info.unit if session else None)))
    for problem in problems:
        out.say(problem)
    if picture is not None:
        out.say(f"picture: {picture}")
    out.say(f"added to: {table}")
    if verdict.recalibrate:
        raise typer.Exit(STATUS_NO)


def _measure_in_use(recording: Path, remount: bool, calibration: Path | None, out: Output) -> None:
    """Measure remounting or creep, keep it beside the checks of the logger, say it. Raises: errors.py."""
    from breakyard.calibration import KnownLoad, mass_load, points_from_run
    from breakyard.calibration.in_use import REMOUNTS, remounts
    from breakyard.calibration.in_use import hold as held
    from breakyard.session.files.in_use import in_use_file, keep_in_use
    from breakyard.session.in_force import load_calibration
    from breakyard.session.recordings import load_counts
    from breakyard.session.session import find_session

    session = find_session(recording)
    run = load_counts(recording)
    serial = _serial(run)
    path = in_use_file(session.root if session else recording.parent, serial)
    values: dict[str, object] = {
        "when_utc": datetime.fromtimestamp(_when(run), UTC).isoformat(timespec="seconds")
    }
    values["source"] = recording.name
    try:
        if remount:
            made = load_calibration(calibration, session, recording.name)
            loads = [mass_load(1.0), KnownLoad("0")] * REMOUNTS
            found = remounts(made, points_from_run(run, [KnownLoad("0"), *loads])[0])
            values |= {"standard": found.standard, "freedom": found.freedom, "shares": list(found.shares)}
            said = (
                f"{len(found.shares)} mountings: "
                + ", ".join(f"{100.0 * share:+.3f} %" for share in found.shares)
                + f"; one mounting scatters by {100.0 * found.standard:.2g} % (standard deviation)."
            )
        else:
            crept = held(run.time_s, run.counts.astype(float))
            values |= {"share": crept.share, "minutes": crept.seconds / 60.0}
            said = f"In {crept.seconds / 60.0:.0f} minutes the reading crept by {100.0 * crept.share:.2g} % or less."
    except CalibrationError as error:
        raise CalibrationError(f"{recording.name}: {error}") from None
    document = keep_in_use(path, "remount" if remount else "hold", values, logger=serial)
    out.document(document | {"file": str(path)})
    out.say(said)
    out.say("Later readings of this logger's pulls take this in place of the default.")
    out.say(f"written: {path}")


def _serial(run: "Run | None") -> str:
    return "unknown" if run is None or run.identity is None else run.identity.serial.hex()


def _when(run: "Run | None") -> float:
    """When it was weighed: by the run's clock, else now."""
    if run is not None and run.start_utc_s is not None:
        return run.start_utc_s
    return datetime.now(UTC).timestamp()


def _load(text: str, mass_limit: float | None) -> "KnownLoad":
    from breakyard.calibration import parse_load

    load = parse_load(text, mass_limit=None if mass_limit is None else mass_limit / 100)
    if load.nothing:
        raise UsageError(f'--mass "{text}": a check needs a mass on the hook')
    return load


def _reading(run: "Run", load: "KnownLoad", where: str) -> "CheckCounts":
    """Empty, mass, empty again; or only the first two. Raises: CalibrationError."""
    from breakyard.calibration import KnownLoad, points_from_run
    from breakyard.calibration.check_weighing import CheckCounts

    nothing = KnownLoad("0")
    for loads in ((nothing, load, nothing), (nothing, load)):
        try:
            points, _ = points_from_run(run, loads)
        except CalibrationError as error:
            problem = error
            continue
        empty = [point for point in points if point.load.nothing]
        (hung,) = [point for point in points if not point.load.nothing]
        spread = [point.counts_standard or 0.0 for point in empty]
        mean = sum(point.counts for point in empty) / len(empty)
        # Two zeros that differ tell how sure the zero is; their half difference is a rectangle's half-width.
        apart = abs(empty[-1].counts - empty[0].counts) / 2.0 / 3.0**0.5
        own = sum(one**2 for one in spread) ** 0.5 / len(empty)
        return CheckCounts(mean, hung.counts, (apart**2 + own**2) ** 0.5, hung.counts_standard or 0.0)
    raise CalibrationError(
        f"{where}: a check recording shows the empty hook, then the mass for 10 s, better the empty hook again "
        f"({problem})"
    )


def _stated(counts: float | None, zero: float | None) -> "CheckCounts":
    from breakyard.calibration.check_weighing import CheckCounts

    assert counts is not None
    assert zero is not None
    return CheckCounts(zero, counts)


def _place(
    session: "Session | None",
    latitude: float | None,
    height: float | None,
    made: "Calibration",
    load: "KnownLoad",
) -> "Force | None":
    """The load's force where gravity differs from the calibration's; None where it is the same place."""
    from breakyard.calibration import air_at_height
    from breakyard.cli.calibration_options import gravity_from

    if latitude is None and session is not None:
        latitude, height = session.info.latitude_deg, session.info.height_m if height is None else height
    here = gravity_from(latitude, height, None)
    if here is None or here.value == made.gravity.value:
        return None
    return load.force(here, air_at_height(here.height_m or 0.0))


def _show(
    out: Output,
    made: "Calibration",
    check: "CheckWeighing",
    own: "Sequence[CheckWeighing]",
    verdict: "CheckVerdict",
    unit: str,
) -> None:
    from breakyard.report.words.values import load_text
    from breakyard.units import from_newtons, significant

    out.say(
        f'"{check.text}" hangs with {load_text(check.known_n, unit, check.allowed_n / 20)} {unit}; the calibration '
        f"{made.name or made.content_hash[:8]} shows {load_text(check.shown_n, unit, check.allowed_n / 20)} {unit}: "
        f"{significant(from_newtons(check.difference_n, unit), 2, '+')} {unit}, "
        f"allowed +-{significant(from_newtons(check.allowed_n, unit), 2)} {unit}."
    )
    out.say("")
    out.say(f"{'':24}allowed: from [ to ]")
    for line in chart(own[-SHOWN:]):
        out.say(line)
    out.say("")
    for sentence in verdict.sentences:
        out.say(sentence)


def chart(checks: "Sequence[CheckWeighing]") -> list[str]:
    """One line per check: the day, the difference, and where it lies in what is allowed (between the brackets).

    Letters only, so that every terminal shows it.
    """
    lines = []
    for one in checks:
        at = round(HALF * max(-1.5, min(1.5, one.share)))
        cells = [" "] * (3 * HALF + 1)
        middle = len(cells) // 2
        cells[middle - HALF], cells[middle], cells[middle + HALF] = "[", "|", "]"
        cells[middle + at] = "o" if one.holds else "X"
        day = datetime.fromtimestamp(one.when_utc_s, UTC).strftime("%Y-%m-%d")
        percent = 100.0 * one.difference_n / one.known_n
        lines.append(f"  {day}  {percent:+7.3f} %  {''.join(cells)}".rstrip())
    return lines


def _document(
    made: "Calibration",
    check: "CheckWeighing",
    own: "Sequence[CheckWeighing]",
    verdict: "CheckVerdict",
    table: Path,
    picture: Path | None,
) -> dict[str, object]:
    from breakyard.document import to_plain

    return {
        "schema": "breakyard.check/1",
        "calibration": {"name": made.name, "hash": made.content_hash},
        "check": to_plain(check),
        "verdict": to_plain(verdict),
        "history": to_plain(own),
        "file": str(table),
        "picture": None if picture is None else str(picture),
    }
