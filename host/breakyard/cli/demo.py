"""breakyard demo: a day at a small, invented boatyard, from the converter's counts to a table with intervals."""

import shutil
import tempfile
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from breakyard.cli.output import STATUS_NO, JsonOption, Output, UnitOption, fail
from breakyard.cli.running import run_async
from breakyard.errors import UsageError
from breakyard.units import FORCE_UNITS

if TYPE_CHECKING:
    from breakyard.comparison import Comparison
    from breakyard.plan.ranges import RangePlan
    from breakyard.plan.rig import RigCheck
    from breakyard.session.reading import PullResult
    from breakyard.session.session import Session
    from breakyard.simulate.scenario import Scenario, SimulatedRecording

CALIBRATION: Final = "weights"
"""Name of the demo's calibration, named in session.toml so that others beside it change nothing."""

EXPECTED_KGF: Final = (300.0, 1000.0)
"""What the yard expects its fittings to bear."""

FIRST_COMMAND: Final = 1
"""The demo numbers its commands from a fixed start, so that each run of it gives the same bytes."""

ANSWER_TIMEOUT_S: Final = 60.0
"""The virtual logger always answers; this only ends the demo if its process hangs."""


def command(
    folder: Annotated[
        Path, typer.Option(help="Session folder to make; an older demo in it is replaced.")
    ] = Path("demo-session"),
    interpreter: Annotated[
        str | None, typer.Option(help="micropython or cpython; default: MicroPython where it is installed.")
    ] = None,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Break twelve fittings in an invented boatyard.

    The logger's own firmware, run by MicroPython, samples a simulated converter while a model pulls: a calibration
    with known masses, then four ways of fixing a deck fitting, three specimens each. One pull is a snatch, one goes
    off scale, one is let go without a break. The session folder can be read with the other commands afterwards. All
    data are invented.
    """
    from breakyard.cli.results_table import show
    from breakyard.plan.rig import CAUTIONS
    from breakyard.report.page.page import make_page
    from breakyard.session.comparing import compare_results
    from breakyard.session.finding import find_pulls
    from breakyard.session.options import ReadOptions
    from breakyard.session.reading import read_pulls
    from breakyard.session.reporting import gather, session_picture
    from breakyard.session.tables import write_tables
    from breakyard.simulate.scenario import boatyard

    if interpreter not in (None, "micropython", "cpython"):
        raise UsageError(f'--interpreter is "micropython" or "cpython", not "{interpreter}"')
    out = Output(as_json)
    scenario = boatyard()
    session = _prepare(folder, scenario, unit or "kgf")
    shown = session.info.unit
    plan, rig = _plan(scenario, shown), _check_rig(session)
    with out.progress("pulling", len(scenario.recordings)) as step:
        version = run_async(_record_all(scenario, session, interpreter, step))
    _calibrate(session, scenario)
    pulls = find_pulls([folder])
    with out.progress("reading pulls", len(pulls)) as step:
        results = read_pulls(pulls, ReadOptions(), step)
    write_tables(results, shown)
    for result in results:
        if result.summary is None:
            fail(result.problem)
    comparison = compare_results(results)
    picture = session.write_result("all-pulls.png", session_picture(results, ReadOptions(), shown).png())
    page = session.write_result("report.html", make_page(gather(session, results, ReadOptions(), shown)))
    verdicts = [
        _verdict(result, recording) for result, recording in zip(results, scenario.pulls, strict=True)
    ]
    out.document(
        {
            "schema": "breakyard.demo/1",
            "folder": str(folder),
            "interpreter": version,
            "invented": True,
            "picture": str(picture),
            "report": str(page),
            "range": plan.to_json(),
            "rig": rig.to_json(),
            "comparison": comparison.to_json(),
            "pulls": [verdict.document() for verdict in verdicts],
        }
    )
    out.say(
        f'Firmware run by: {version}. Everything here is invented; "!" marks numbers not to stand beside the others.'
    )
    out.say("\nBefore the pulls:")
    for finding in (*plan.findings, *rig.findings):
        if finding.level != "note":
            out.say(f"  {finding.level}: {finding.text}")
    out.say(f"  {CAUTIONS[0]}")
    show(out, results, shown)
    out.say("\nThe groups compared:")
    for pair in comparison.pairs:
        out.say(f"  {pair.sentence}")
    held = sum(verdict.holds for verdict in verdicts)
    out.say(
        f"\nThe model knows the truth: {held} of {len(verdicts)} peaks lie where their interval or bound says."
    )
    out.say(f"Session folder: {folder}   all curves: {picture}   report: {page}")
    out.say(
        f"Next: breakyard next {folder}   breakyard plot {folder / 'runs' / 'S1.run'}   breakyard compare {folder}"
    )
    out.say(f"\n{_found(comparison, results)}")
    if held < len(verdicts):
        raise typer.Exit(STATUS_NO)


def _found(comparison: "Comparison", results: "Sequence[PullResult]") -> str:
    """What the day showed, in two sentences."""
    from breakyard.report.words.group_words import verdict_of
    from breakyard.report.words.wording import is_doubtful

    doubtful = [one.label for one in results if one.summary is not None and is_doubtful(one.summary)]
    said = f'{len(doubtful)} of {len(results)} pulls ({", ".join(doubtful)}) say only "at least", and count as that.'
    verdict = verdict_of(comparison).rstrip(".").replace(". ", "; ")
    return f"Found: {verdict}. {said if doubtful else 'No pull is doubtful.'}"


@dataclass(frozen=True, slots=True)
class _Verdict:
    """A pull's summary beside the model's truth."""

    result: "PullResult"
    recording: "SimulatedRecording"
    holds: bool

    def document(self) -> dict[str, Any]:
        assert self.result.summary is not None
        truth = self.recording.truth
        return self.result.pull.described() | {
            "spoilt": self.recording.spoilt or None,
            "truth": {
                "peak_n": truth.peak_n,
                "manner": truth.manner,
                "break_time_s": truth.break_time_s,
            },
            "truth_within_interval": self.holds,
            "summary": self.result.summary.to_json(),
        }


def _verdict(result: "PullResult", recording: "SimulatedRecording") -> _Verdict:
    assert result.summary is not None
    peak, truth_n = result.summary.peak, recording.truth.peak_n
    return _Verdict(
        result, recording, peak.low_n <= truth_n and (peak.high_n is None or truth_n <= peak.high_n)
    )


def _plan(scenario: "Scenario", unit: str) -> "RangePlan":
    """Does the yard's cell fit the loads it expects?"""
    from breakyard.calibration import Plate
    from breakyard.plan.ranges import RangeQuestion, plan_range

    cell = scenario.cell
    plate = Plate(cell.capacity_n, cell.plate_mv_v, nonlinearity=cell.nonlinearity)
    low_n, high_n = (value * FORCE_UNITS["kgf"] for value in EXPECTED_KGF)
    return plan_range(RangeQuestion(low_n, high_n, plate, rate_hz=scenario.converter.rate_hz), unit=unit)


def _check_rig(session: "Session") -> "RigCheck":
    """Is the specimen the weakest part, and who may stand where?"""
    from breakyard.plan.describe import rig_from_table
    from breakyard.plan.rig import check_rig

    assert not isinstance(session.info.rig, str)
    rig = rig_from_table(session.info.rig, where=str(session.layout.session_file))
    return check_rig(rig, unit=session.info.unit)


def _rig() -> dict[str, Any]:
    """The yard's rig: that of the template, with parts for the strongest of its fittings."""
    from breakyard.plan.template import RIG_TEMPLATE

    rig: dict[str, Any] = tomllib.loads(RIG_TEMPLATE)["rig"]
    stronger = {
        "eye bolt of the cell": {"wll": "1.5 tf"},
        "rod end of the cell": {"static": "30 kN"},
        "pull line": {"breaking": "150 kN"},
        "concrete block": {"mass": "6500 kg"},
    }
    for part in (*rig["element"], *rig["anchor"]):
        part.update(stronger.get(part["name"], {}))
    rig["line"][0]["breaking"] = "150 kN"
    return rig | {
        "specimen": "deck fitting",
        "expected": "{:g}..{:g} kgf".format(*EXPECTED_KGF),
        "stop": "1400 kgf",
    }


def _prepare(folder: Path, scenario: "Scenario", unit: str) -> "Session":
    """Make the session folder, replacing an older demo. Raises: UsageError for a folder that is none."""
    from breakyard.session.files.info import DEMO_MARK, SessionInfo, read_info
    from breakyard.session.files.layout import Layout
    from breakyard.session.files.specimens import Specimen
    from breakyard.session.session import create_session

    session_file = Layout(folder).session_file
    if session_file.exists():
        if read_info(session_file).more.get("made_by") != DEMO_MARK:
            raise UsageError(f"{folder}: this session was not made by the demo; choose another --folder")
        shutil.rmtree(folder)
    info = SessionInfo(
        rig=_rig(),
        place=scenario.place,
        date=date(2026, 5, 3),
        latitude_deg=scenario.weights.latitude_deg,
        height_m=scenario.weights.height_m,
        unit=unit,
        logger="virtual",
        calibration=CALIBRATION,
        notes=scenario.invented,
        more={"made_by": DEMO_MARK},
    )
    specimens = [
        Specimen(pull.id, group=pull.group, order=pull.order, notes=pull.notes)
        for pull in sorted(scenario.pulls, key=lambda pull: pull.order)
    ]
    return create_session(folder, info, specimens)


async def _record_all(
    scenario: "Scenario", session: "Session", interpreter: str | None, step: Callable[[str], None]
) -> str:
    """Let the virtual logger record the day and fetch each run; returns what ran the firmware."""
    from breakyard.device.client.client import Client
    from breakyard.simulate.feed import write_feed
    from breakyard.simulate.logger import VirtualLogger

    with tempfile.TemporaryDirectory() as feeds:
        async with (
            VirtualLogger(interpreter) as logger,
            Client(logger.link(), first_index=FIRST_COMMAND, answer_timeout_s=ANSWER_TIMEOUT_S) as client,
        ):
            await client.hello()
            for recording in scenario.recordings:
                feed = Path(feeds) / f"{recording.id}.feed"
                write_feed(feed, recording.conversions)
                await logger.load(feed)
                # The calibration is begun and ended by hand; pulls begin with the trigger and end with the hang time.
                run = await (client.arm() if recording.order else client.start())
                await logger.run(float(recording.conversions.time_s[-1]))
                if not recording.order:
                    await client.stop()
                await _fetch(client, run, session, recording)
                step(recording.id)
            return logger.interpreter_version


async def _fetch(client: Any, run: int, session: "Session", recording: "SimulatedRecording") -> None:
    """Fetch a run, keep it and its notes, and only then let the logger erase it."""
    from breakyard.device.client.download import fetch
    from breakyard.session.files.layout import PART
    from breakyard.session.files.notes import RunNotes
    from breakyard.session.pulls import CALIBRATION_PURPOSE, PURPOSE

    part = session.layout.runs / f"{recording.id}{PART}"
    end = await fetch(client, run, part)
    notes = RunNotes(
        specimen=recording.id if recording.order else None,
        notes=recording.notes,
        more={} if recording.order else {PURPOSE: CALIBRATION_PURPOSE},
    )
    session.add_run(recording.id, part.read_bytes(), notes)
    part.unlink()
    if end is not None:
        await client.erase(run, end.sha256)


def _calibrate(session: "Session", scenario: "Scenario") -> None:
    """Calibrate with the recording of known masses and what the yard would state about them."""
    from breakyard.calibration import Plate, calibrate, gravity_at, parse_loads, points_from_run
    from breakyard.session.known_loads import keep_calibration
    from breakyard.session.recordings import load_run

    weights = scenario.weights
    single_kg = weights.singles_kg[0]
    one = f"{single_kg:g} kg +- {2 * weights.standard_kg:g} kg (k=2)"
    hung = [round(kilograms / single_kg) for kilograms in weights.stated_kg]
    masses = ", ".join(f"{number} x {one}" if number else "0" for number in hung)
    path = session.layout.run_file(scenario.calibration.id)
    run = load_run(path)
    points, _ = points_from_run(run, parse_loads(masses))
    cell = scenario.cell
    made = calibrate(
        points,
        plate=Plate(
            capacity_n=cell.capacity_n,
            rated_output_mv_v=cell.plate_mv_v,
            nonlinearity=cell.nonlinearity,
            hysteresis=cell.hysteresis or None,
        ),
        gain=None if run.converter is None else run.converter.gain,
        gravity=gravity_at(weights.latitude_deg, weights.height_m),
        name=CALIBRATION,
        created="2026-05-03T08:00:00+00:00",
        provenance={"recording": path.name, "masses": masses},
    )
    keep_calibration(made, path)
