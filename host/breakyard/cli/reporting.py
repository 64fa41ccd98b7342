"""A session's folder -> everything that its report tells."""

import platform
from collections.abc import Mapping, Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Final

from breakyard import __version__
from breakyard.cli.inputs import digest, load_calibration, load_curve
from breakyard.cli.reading import Read, Wanted
from breakyard.errors import BreakyardError

if TYPE_CHECKING:
    from breakyard.calibration import Calibration
    from breakyard.comparison import Comparison
    from breakyard.plan.rig import RigCheck
    from breakyard.report.figures.style import Picture
    from breakyard.report.page.content import Content, Entry, FileHash
    from breakyard.session.session import Session

PACKAGES: Final = ("numpy", "scipy", "pandas", "matplotlib")
"""Packages whose versions may change the last digits of a number or the look of a picture."""


def gather(
    session: "Session", reads: Sequence[Read], wanted: Wanted, unit: str, *, matters: float = 0.10
) -> "Content":
    """Put together what the report tells, from pulls that were read.

    What can't be had (a comparison, a rig) is told with its reason; it stops nothing.
    Raises: BreakyardError if a curve that was read before can't be read now.
    """
    from breakyard.report.page.content import Content

    good = [read for read in reads if read.summary is not None]
    comparison, comparison_problem = _comparison(reads, wanted, matters)
    rig, rig_problem = _rig(session, unit)
    info = session.info
    used = _calibrations(good, wanted)
    written = {one.id: one.notes for one in session.specimens()}
    return Content(
        title=_title(session),
        entries=tuple(_entry(read, wanted, written) for read in good),
        unit=unit,
        coverage=wanted.coverage,
        place=info.place,
        date="" if info.date is None else info.date.isoformat(),
        latitude_deg=info.latitude_deg,
        height_m=info.height_m,
        logger=info.logger,
        notes=info.notes,
        unread=tuple((read.pull.name, read.problem) for read in reads if read.summary is None),
        comparison=comparison,
        comparison_problem=comparison_problem,
        calibrations=tuple(used),
        rig=rig,
        rig_words=info.rig if isinstance(info.rig, str) else "",
        rig_problem=rig_problem,
        files=_files(session, good),
        settings=_settings(wanted, unit, matters),
        versions=_versions(),
        commands=_commands(wanted, unit),
    )


def _title(session: "Session") -> str:
    info = session.info
    parts = [part for part in (info.place, "" if info.date is None else info.date.isoformat()) if part]
    return f"Pulls: {', '.join(parts) or session.root.resolve().name}"


def _entry(read: Read, wanted: Wanted, written: Mapping[str, str]) -> "Entry":
    from breakyard.report.page.content import Entry

    assert read.summary is not None
    curve, _ = load_curve(read.pull, wanted.calibration, accuracy_percent=wanted.accuracy_percent)
    pull = read.pull
    return Entry(
        name=pull.name,
        label=pull.specimen or pull.name,
        curve=curve,
        summary=read.summary,
        group=pull.group,
        order=pull.order,
        notes=pull.notes or written.get(pull.specimen, ""),
    )


def _comparison(reads: Sequence[Read], wanted: Wanted, matters: float) -> "tuple[Comparison | None, str]":
    from breakyard.cli.comparing import compare_reads

    try:
        return compare_reads(reads, matters=matters, coverage=wanted.coverage), ""
    except BreakyardError as error:
        return None, f"No comparison: {error}."


def _rig(session: "Session", unit: str) -> "tuple[RigCheck | None, str]":
    from breakyard.plan.describe import rig_from_table
    from breakyard.plan.rig import check_rig

    table = session.info.rig
    if isinstance(table, str):
        return None, ""
    try:
        return check_rig(rig_from_table(table), unit=unit), ""
    except BreakyardError as error:
        return None, f"The rig could not be checked: {error}."


def _calibrations(reads: Sequence[Read], wanted: Wanted) -> "list[Calibration]":
    """Every calibration that was used, once."""
    found: dict[str, Calibration] = {}
    for read in reads:
        assert read.summary is not None
        if (key := read.summary.run.calibration_hash) is not None and key not in found:
            found[key] = load_calibration(wanted.calibration, read.pull.session, read.pull.name)
    return list(found.values())


def _files(session: "Session", reads: Sequence[Read]) -> "tuple[FileHash, ...]":
    """What the numbers come from: session, specimens, calibrations, and each recording with its notes."""
    from breakyard.report.page.content import FileHash
    from breakyard.session.files.responses import visible_responses

    layout = session.layout
    paths = [layout.session_file, layout.specimens_file, *session.calibrations()]
    paths += [path for path in visible_responses(session.root) if path.parent.parent == session.root]
    for read in reads:
        paths += [read.pull.path, read.pull.path.with_suffix(".toml")]
    found = []
    for path in dict.fromkeys(paths):  # several pulls may share a recording
        if path.is_file():
            data = path.read_bytes()
            found.append(FileHash(_inside(path, session.root), len(data), digest(data)))
    return tuple(found)


def _inside(path: Path, root: Path) -> str:
    try:
        return path.resolve().relative_to(root.resolve()).as_posix()
    except ValueError:
        return path.name


def _settings(wanted: Wanted, unit: str, matters: float) -> tuple[tuple[str, str], ...]:
    settings = [
        ("Unit shown", unit),
        ("Coverage of intervals", f"{100 * wanted.coverage:g} %"),
        ("Difference worth knowing about", f"{100 * matters:g} %"),
    ]
    if wanted.accuracy_percent is not None:
        settings.append(("Accuracy stated for imported recordings", f"{wanted.accuracy_percent:g} %"))
    if wanted.misalignment_deg:
        settings.append(("Largest angle between line and cell", f"{wanted.misalignment_deg:g} degrees"))
    if wanted.temperature_c is not None:
        settings.append(("Temperature of the cell during the pulls", f"{wanted.temperature_c:g} C"))
    if wanted.response is not None:
        settings.append(("Step response of the converter", wanted.response))
    if wanted.pull_speed_m_per_s is not None:
        settings.append(("Stated speed of pulling", f"{1000 * wanted.pull_speed_m_per_s:g} mm/s"))
    return tuple(settings)


def _versions() -> tuple[tuple[str, str], ...]:
    found = [("breakyard", __version__), ("Python", platform.python_version())]
    for name in PACKAGES:
        try:
            found.append((name, version(name)))
        except PackageNotFoundError:
            found.append((name, "unknown"))
    return tuple(found)


def _commands(wanted: Wanted, unit: str) -> tuple[str, ...]:
    """What to type in the session's folder."""
    options = ""
    if wanted.calibration is not None:
        options += f" --calibration {wanted.calibration.stem}"
    if wanted.accuracy_percent is not None:
        options += f" --accuracy {wanted.accuracy_percent:g}"
    if wanted.coverage != Wanted().coverage:
        options += f" --coverage {wanted.coverage:g}"
    if wanted.misalignment_deg:
        options += f" --misalignment {wanted.misalignment_deg:g}"
    if wanted.temperature_c is not None:
        options += f" --temperature {wanted.temperature_c:g}"
    if wanted.response is not None:
        options += f" --response {wanted.response}"
    speed = ""  # compare has no use for it
    if wanted.pull_speed_m_per_s is not None:
        speed = f" --pull-speed {1000 * wanted.pull_speed_m_per_s:g}"
    verbs = {"summarize": speed, "compare": "", "report": speed}
    return tuple(f"breakyard {verb} .{options}{more} --unit {unit}" for verb, more in verbs.items())


def pictures(content: "Content") -> "dict[str, Picture]":
    """Every picture by the name of its file: all pulls, strengths, calibrations, rig, each pull and its break."""
    from breakyard.report.figures import Pull, break_figure, calibration_figure, overlay_figure, pull_figure
    from breakyard.report.figures.plan_figures import rig_figure
    from breakyard.report.figures.strip_figure import Strip, strip_figure
    from breakyard.session.files.layout import name_from

    unit, entries = content.unit, content.entries
    found = {
        "all-pulls": overlay_figure([Pull(e.curve, e.summary, e.label, e.group) for e in entries], unit=unit),
        "strengths": strip_figure(
            [Strip(e.summary, e.label, e.group) for e in entries], unit=unit, comparison=content.comparison
        ),
    }
    for one in content.calibrations:
        found[f"calibration-{name_from(one.name)}"] = calibration_figure(
            one, unit=unit, coverage=content.coverage
        )
    if content.rig is not None and content.rig.distances is not None:
        found["rig"] = rig_figure(content.rig)
    for entry in entries:
        name, title = name_from(entry.name), " ".join(part for part in (entry.label, entry.group) if part)
        found[f"{name}.pull"] = pull_figure(entry.curve, entry.summary, unit=unit, title=title)
        found[f"{name}.break"] = break_figure(entry.curve, entry.summary, unit=unit, title=title)
    return found
