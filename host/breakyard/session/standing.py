"""Where a session stands in the job, judged by its own files: what is done, what is missing, what to do next."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from breakyard.document import face
from breakyard.errors import BreakyardError
from breakyard.session.files.keys import SESSION_KEYS
from breakyard.session.pulls import CALIBRATION_PURPOSE, PURPOSE, Pull, pulls_of

if TYPE_CHECKING:
    from breakyard.session.session import Session

State = Literal["done", "to do", "not needed"]
FEW = 6
"""Names that are listed; of more only their number."""


@dataclass(frozen=True, slots=True)
class JobStep:
    """One step of the job: how far it is, in words, and the command that goes on with it."""

    name: str = field(metadata=face("step"))
    state: State
    said: str
    command: str | None = None


def standing(session: "Session", called: str) -> tuple[JobStep, ...]:
    """The steps of the job in their order; `called` is how its owner names the folder in commands.

    Raises: DataError, UnitError for files of the session that cannot be read.
    """
    pulls = pulls_of(session)
    made_of_masses = [run for run in session.runs() if run.notes.more.get(PURPOSE) == CALIBRATION_PURPOSE]
    recorded = _recorded(session, pulls, called)
    return (
        _planned(session, called),
        _rig(
            session, called, over=recorded.state == "done" or (bool(pulls) and not any(map(_counts, pulls)))
        ),
        _calibrated(session, pulls, [run.path for run in made_of_masses], called),
        recorded,
        *_told(session, pulls, called),
    )


def next_step(steps: Sequence[JobStep]) -> JobStep | None:
    """The first step that is to be done; None when all is done."""
    return next((step for step in steps if step.state == "to do"), None)


def own_keys(session: "Session") -> tuple[str, ...]:
    """Keys of session.toml that are its owner's: read only where a comparison is told to take them as factors."""
    return tuple(name for name in session.info.more if not any(key.called(name) for key in SESSION_KEYS))


def _planned(session: "Session", called: str) -> JobStep:
    specimens = session.specimens()
    groups = list(dict.fromkeys(one.group for one in specimens if one.group))
    if not specimens:
        return JobStep(
            "planned",
            "to do",
            "no specimens in specimens.csv yet",
            f'breakyard design {called} --groups "bonded, screwed"',
        )
    alone = [one.id for one in specimens if not one.group]
    said = f"{len(specimens)} specimens"
    if groups:
        said += (
            f" in {len(groups)} groups ({_some(groups)})"
            if len(groups) > 1
            else f" in one group ({groups[0]})"
        )
    if alone:
        return JobStep("planned", "to do", f"{said}; without a group: {_some(alone)}", "edit specimens.csv")
    if all(one.order is None for one in specimens) and len(groups) > 1:
        said += "; no order drawn (breakyard design draws one)"
    return JobStep("planned", "done", said)


def _rig(session: "Session", called: str, *, over: bool) -> JobStep:
    from breakyard.plan.describe import rig_from_table
    from breakyard.plan.rig import check_rig
    from breakyard.plan.template import is_template

    rig, command = session.info.rig, f"breakyard rig {called}"
    if over and not isinstance(rig, dict):
        return JobStep("rig", "not needed", "not described, and the pulls are over")
    if not rig:
        return JobStep("rig", "to do", "not described: nobody has checked the line", f"{command} --template")
    if isinstance(rig, str):
        return JobStep(
            "rig", "to do", "described in a sentence only, which cannot be checked", f"{command} --template"
        )
    if is_template(rig):
        return JobStep(
            "rig", "to do", "still the example, which is nobody's rig", "edit [rig] in session.toml"
        )
    try:
        check = check_rig(rig_from_table(rig), unit=session.info.unit)
    except BreakyardError as error:
        return JobStep("rig", "to do", str(error), command)
    if check.ok:
        return JobStep("rig", "done", "checked: nothing speaks against the pull")
    return JobStep("rig", "to do", "checked: something speaks against the pull", command)


def _calibrated(session: "Session", pulls: Sequence[Pull], masses: Sequence[Path], called: str) -> JobStep:
    have = [path.stem for path in session.calibrations()]
    if have:
        if len(have) > 1 and not session.info.calibration:
            return JobStep(
                "calibrated",
                "to do",
                f"several calibrations ({_some(have)}): which one holds?",
                f'write calibration = "{have[-1]}" into session.toml',
            )
        return JobStep("calibrated", "done", f"calibration {session.info.calibration or have[0]}")
    if masses:
        return JobStep(
            "calibrated",
            "to do",
            f"known masses are recorded in {masses[0].name}",
            f'breakyard calibrate {called}/runs/{masses[0].name} --masses "0, 20 kg, 40 kg, 20 kg, 0"',
        )
    if pulls and not any(_counts(pull) for pull in pulls):
        return JobStep("calibrated", "not needed", "the recordings hold loads, not counts")
    return JobStep(
        "calibrated",
        "to do",
        "no known masses recorded yet (another instrument that shows loads needs none)",
        f"breakyard record {called} --now",
    )


def _counts(pull: Pull) -> bool:
    if pull.path.suffix == ".run" or pull.session is None:
        return True
    if pull.problem:
        return False
    imported = pull.session.notes(pull.path.stem).imported
    return imported is None or imported.options.unit == "counts"


def _recorded(session: "Session", pulls: Sequence[Pull], called: str) -> JobStep:
    known = [one.id for one in session.specimens()]
    named = {name for pull in pulls for name in (pull.specimen, *(one.specimen for one in pull.listed))}
    missing = [name for name in known if name not in named]
    strange = [pull.name for pull in pulls if not pull.group and not any(one.group for one in pull.listed)]
    parts = sorted(path.name for path in session.layout.runs.glob("*.part"))
    said = f"{len(pulls)} recordings" if pulls else "nothing yet"
    if known:
        said += f"; {len(known) - len(missing)} of {len(known)} specimens pulled"
    if missing and pulls:
        said += f", missing: {_some(missing)}"
    if parts:
        return JobStep(
            "recorded",
            "to do",
            f"{said}; not wholly fetched: {_some(parts)}",
            f"breakyard logger fetch --into {called}",
        )
    if broken := [pull for pull in pulls if pull.problem]:
        more = f" (and {len(broken) - 1} more)" if len(broken) > 1 else ""
        notes = f"{called}/runs/{broken[0].path.stem}.toml"
        return JobStep("recorded", "to do", f"{said}; {broken[0].problem}{more}", f"edit {notes}")
    lost = [name for name in strange if name not in known]
    if lost and known:
        return JobStep(
            "recorded",
            "to do",
            f"{said}; of no specimen in specimens.csv: {_some(lost)}",
            f'write specimen = "{missing[0] if missing else known[0]}" (or the right one) into '
            f"{called}/runs/{lost[0].split('#')[0]}.toml, and so on",
        )
    if missing or not pulls:
        return JobStep(
            "recorded",
            "to do",
            said,
            f"breakyard record {called}   (or, from another instrument: breakyard import FILES --session {called})",
        )
    if strange:
        return JobStep(
            "recorded",
            "to do",
            f"{said}; without a group: {_some(strange)}",
            "edit specimens.csv (id and group), or name the specimen in runs/NAME.toml",
        )
    return JobStep("recorded", "done", said)


def _told(session: "Session", pulls: Sequence[Pull], called: str) -> tuple[JobStep, ...]:
    """Read, compared, reported: whether what is in results/ was made from what is there now."""
    from breakyard.session import kept
    from breakyard.session.options import ReadOptions

    options = ReadOptions()
    unread = [pull.name for pull in pulls if kept.find_kept(pull, kept.made_from(pull, options)) is None]
    groups = {pull.group for pull in pulls} | {one.group for pull in pulls for one in pull.listed}
    if not pulls:
        read = JobStep("read", "to do", "nothing to read yet")
    elif unread:
        said = f"{len(pulls) - len(unread)} of {len(pulls)} recordings read; not yet, or changed since: {_some(unread)}"
        read = JobStep("read", "to do", said, f"breakyard summarize {called}")
    else:
        read = JobStep("read", "done", f"{len(pulls)} recordings")
    few = len(groups - {""}) < 2
    told = f"breakyard compare {called}"
    compared = (
        JobStep("compared", "not needed", "less than two groups")
        if pulls and few
        else JobStep("compared", "done", f"shown by: {told}")
        if pulls and not unread
        else JobStep("compared", "to do", "after reading", told)
    )
    return read, compared, _reported(session, pulls, called)


def _reported(session: "Session", pulls: Sequence[Pull], called: str) -> JobStep:
    page, command = session.layout.result_file("report.html"), f"breakyard report {called}"
    if not page.is_file():
        return JobStep("reported", "to do", "no page yet", command)
    layout = session.layout
    made = page.stat().st_mtime
    sources = [layout.session_file, layout.specimens_file, *session.calibrations()]
    sources += [path for pull in pulls for path in (pull.path, pull.path.with_suffix(".toml"))]
    if any(path.exists() and path.stat().st_mtime > made for path in sources):
        return JobStep("reported", "to do", "the page is older than what it shows", command)
    return JobStep("reported", "done", str(Path(called) / "results" / page.name))


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:FEW]) + (f" and {len(names) - FEW} more" if len(names) > FEW else "")
