"""Record one pull: arm, live number and peak, stop, fetch, attach to the next specimen."""

import os
import signal
import sys
import time
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Annotated, Any, Final, TypeVar

import typer

from breakyard.cli.options import LinkOption
from breakyard.cli.output import JsonOption, Output, UnitOption, near
from breakyard.cli.running import run_async
from breakyard.report.words.printable import printable

if TYPE_CHECKING:
    from collections.abc import Coroutine
    from types import FrameType

    from breakyard.device.keeping import Keeper
    from breakyard.device.recording import RecordJob
    from breakyard.session.session import Session
    from breakyard.wire.records import Status

_T = TypeVar("_T")


def command(
    folder: Annotated[Path, typer.Argument(help="Session, or any folder, that gets the run.")] = Path("."),
    link: LinkOption = "ble",
    specimen: Annotated[
        str | None, typer.Option("--specimen", "-s", help="Its id; default: the next one without a run.")
    ] = None,
    now: Annotated[
        bool,
        typer.Option(
            "--now",
            help="Record at once, until Ctrl-C or --seconds: a calibration, or (with --specimen) a pull.",
        ),
    ] = False,
    hold: Annotated[
        str | None,
        typer.Option("--hold", help="Show the seconds at or above this load; default: column proof_load."),
    ] = None,
    seconds: Annotated[float | None, typer.Option(help="End the run after this many seconds.", min=1)] = None,
    calibration: Annotated[
        Path | None,
        typer.Option("--calibration", "-c", help="For the live number; default: the session's own."),
    ] = None,
    erase: Annotated[
        bool, typer.Option("--erase", help="Let the logger erase the run once it is here.")
    ] = False,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Record one pull with live numbers, for the next specimen.

    A line typed meanwhile marks the moment of its Enter: a length ("1012 mm") or a remark ("first crack").
    Ctrl-C ends the run, never loses it. If the link breaks the logger records on; the run is fetched when it is back.

    Example: breakyard record slipway --link ble
    """
    from breakyard.cli.asking import session_here
    from breakyard.device.keeping import Keeper
    from breakyard.device.reach import SIMULATED_MASSES, SIMULATED_MASSES_S
    from breakyard.device.recording import RecordJob, record_pull, specimen_for

    out = Output(as_json)
    if not folder.exists():
        session_here(folder, as_json)
    keeper = Keeper(folder)
    chosen = specimen_for(keeper, specimen, now)
    if keeper.session is not None and not chosen and not now:
        out.say(_unplanned(keeper.session))
    show = _Display(out, _live(keeper, calibration, unit, _asked(keeper, chosen, hold)))
    job = RecordJob(keeper, chosen, now, seconds, show)
    if sys.stdin is not None and sys.stdin.isatty():
        Thread(target=_listen, args=(job,), daemon=True).start()
    if now and link == "virtual":
        out.say(f"simulated: {SIMULATED_MASSES} hang on the virtual cell, one after another")
        job.seconds = SIMULATED_MASSES_S if seconds is None else seconds
    elif link == "virtual":
        out.say("simulated: what is recorded is an invented pull, and its notes say so")
    if link == "virtual":
        job.said = SIMULATED
    kept = run_async(_until_ctrl_c(record_pull(link, job, erase), job))
    show.end()
    if kept is None:
        out.say("nothing was recorded")
    else:
        out.say(
            f"{kept.path}{f' for {chosen}' if chosen else ''}: {'complete' if kept.complete else 'NOT complete'}"
        )
    if keeper.session is None:
        out.say(NO_SESSION)
    elif kept is not None and kept.complete:
        out.say(_next(keeper.session, near(kept.path), now))
    out.document(
        {
            "schema": "breakyard.record/1",
            "run": job.run or None,
            "file": str(kept.path) if kept else None,
            "specimen": chosen or None,
            "complete": bool(kept and kept.complete),
            "seconds_left_s": job.seconds_left,
            "warning": job.warning or None,
        }
    )
    if kept is None or not kept.complete:
        raise typer.Exit(1)


SIMULATED: Final = "simulated: recorded from the virtual logger"

NO_SESSION: Final = (
    "no session here, so the run lies alone: its specimen and group are not known, and nothing can be compared; "
    "make a session with: breakyard new FOLDER"
)


def _next(session: "Session", run: Path, now: bool) -> str:
    """What to do with what was recorded: at once, it was known masses; else a pull, and the next one may come."""
    from breakyard.session.pulls import planned, still_to_pull

    root = near(session.root)
    if now:
        return f'next: breakyard calibrate {run} --masses "0, 20 kg, 40 kg, 20 kg, 0"   (what hung, in its order)'
    left = still_to_pull(session)
    if not left and planned(session):
        return f"the plan is done: every specimen has a run\nnext: breakyard compare {root}"
    pull = f"breakyard record {root}" + (f"   (for {left[0]})" if left else "")
    if not session.calibrations():
        return f"next: {pull}   or known masses, without which nothing is read: breakyard record {root} --now"
    return f"next: {pull}   or, to read what is there: breakyard summarize {root}"


def _unplanned(session: "Session") -> str:
    """What to know before a pull is recorded that belongs to no specimen."""
    from breakyard.session.pulls import planned

    number = len(planned(session))
    why = (
        f"the plan is done: each of the {number} specimens has a run"
        if number
        else "no specimens are planned"
    )
    return f"{why}; this pull is of none. To pull one again: --specimen; to add one: edit specimens.csv"


class _Display:
    """One line in the terminal that is written over and over."""

    def __init__(self, out: Output, words: Any) -> None:
        self._out = out
        self._quiet = out.as_json or not sys.stderr.isatty()
        self._words = words
        self._shown_s = 0.0

    def say(self, text: str) -> None:
        """A line that stays."""
        self._out.say(text)

    def warn(self, text: str) -> None:
        """On standard error, where --json lets it through."""
        print(printable(text), file=sys.stderr)

    def status(self, status: "Status") -> None:
        """Show a status, a few times a second at most."""
        if time.monotonic() - self._shown_s > 0.1:
            self.line(self._words(status))

    def line(self, text: str) -> None:
        """Show a text in place of the last."""
        if not self._quiet:
            self._shown_s = time.monotonic()
            print(f"\r{printable(text):<78.78}", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        """Leave the line."""
        if not self._quiet and self._shown_s:
            print(file=sys.stderr)


def _asked(keeper: "Keeper", specimen: str, hold: str | None) -> "tuple[float, float | None] | None":
    """Load to be held and for how long, newtons and seconds; None where nothing was asked. Raises: DataError."""
    from breakyard.cli.options import option
    from breakyard.session.proving import asked_of_specimen
    from breakyard.units import parse_force

    if hold is not None:
        return option("--hold", parse_force, hold), None
    if keeper.session is None or not specimen:
        return None
    asked = asked_of_specimen(keeper.session, specimen)
    return None if asked is None else (asked.load_n, asked.for_s)


def _live(
    keeper: "Keeper",
    calibration: Path | None,
    unit: str | None,
    asked: "tuple[float, float | None] | None" = None,
) -> Any:
    """A function from a status to words: counts, or force if there is a calibration; seconds of a hold, if asked."""
    from breakyard.device.live import live_number
    from breakyard.pull.proof import HoldClock
    from breakyard.units import force_unit, from_newtons

    session = keeper.session
    made: Any = None
    if calibration is not None or (session is not None and session.calibrations()):
        from breakyard.session.in_force import load_calibration

        made = load_calibration(calibration, session, "the live number")
    shown = force_unit(unit) if unit else session.info.unit if session else "N"
    stop_n = None if session is None or made is None else _stop_load(session)

    clock = None if asked is None or made is None else HoldClock(asked[0])

    def held(load_n: float | None) -> str:
        if clock is None or asked is None or load_n is None:
            return ""
        seconds = clock.seen(load_n, time.monotonic())
        of = "" if asked[1] is None else f" of {asked[1]:g}"
        return f"  {seconds:.0f}{of} s at {from_newtons(asked[0], shown):g} {shown}"

    def words(status: "Status") -> str:
        number = live_number(status, made)
        now = number.text(shown)
        if stop_n is not None and number.load_n is not None and number.load_n >= stop_n:
            return f"STOP LOAD REACHED: let off now  {now}"
        if number.recording:
            largest = number.largest_text(shown)
            return f"recording  {now}{held(number.load_n)}  largest {largest}  {number.samples} samples"
        if number.state == "armed":
            return f"armed, waiting for the pull  {now}"
        if number.state == "fault":
            return "the converter does not deliver"
        return f"fetching ...  {now}"

    return words


def _stop_load(session: "Session") -> float | None:
    """The stop load of the session's rig, newtons; None without one, or where the rig cannot be read."""
    from breakyard.errors import BreakyardError
    from breakyard.session.stopping import stop_load_n

    try:
        return stop_load_n(session)
    except BreakyardError as error:
        print(printable(f"no stop load: {error}"), file=sys.stderr)
        return None


def _listen(job: "RecordJob") -> None:
    """Lines that are typed become marks, at the moment of their Enter.

    Read past Python's own buffer: a thread that waits inside of that would disturb the end of the program.
    """
    waiting, marks = b"", 0
    while data := os.read(sys.stdin.fileno(), 4096):
        *lines, waiting = (waiting + data).split(b"\n")
        for line in lines:
            marks += 1
            text = line.decode(errors="replace").strip()
            job.typed.append((time.monotonic(), text or f"mark {marks}"))


async def _until_ctrl_c(work: "Coroutine[Any, Any, _T]", job: "RecordJob") -> _T:
    """The first Ctrl-C ends the run; the second gives up: asyncio cancels the work, at a place where it can be."""

    def handle(number: int, frame: "FrameType | None") -> None:
        if job.stop_wanted and callable(before):
            before(number, frame)
        job.stop_wanted = True

    before = signal.signal(signal.SIGINT, handle)
    try:
        return await work
    finally:
        signal.signal(signal.SIGINT, before)
