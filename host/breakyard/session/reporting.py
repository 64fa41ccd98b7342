"""A session's folder -> everything that its report tells."""

import platform
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Final

from breakyard.document import sha256_of
from breakyard.errors import BreakyardError
from breakyard.session.in_force import load_calibration
from breakyard.session.options import ReadOptions
from breakyard.session.photos import for_page
from breakyard.session.reading import PullResult
from breakyard.session.recordings import Curves
from breakyard.version import VERSION

if TYPE_CHECKING:
    from breakyard.calibration import Calibration
    from breakyard.comparison import Comparison
    from breakyard.plan.rig import RigCheck
    from breakyard.report.figures.style import FigurePicture, Form, Mode
    from breakyard.report.page.content import Content, Entry, FileHash
    from breakyard.session.session import Session

PACKAGES: Final = ("numpy", "scipy", "pandas", "matplotlib")
"""Packages whose versions may change the last digits of a number or the look of a picture."""


def gather(
    sessions: "Session | Sequence[Session]",
    results: Sequence[PullResult],
    options: ReadOptions,
    unit: str,
    *,
    matters: float = 0.10,
    compare: bool = True,
) -> "Content":
    """Put together what the report tells, from pulls that were read, of one session or of several.

    Of several, every name begins with its session's. What can't be had (a comparison, a rig) is left out and the
    reason given.
    Raises: BreakyardError if a curve that was read before can't be read now.
    """
    from breakyard.report.page.content import Content, SessionRig

    days = list(sessions) if isinstance(sessions, Sequence) else [sessions]
    several = len(days) > 1
    good = [result for result in results if result.summary is not None]
    comparison, comparison_problem = _comparison(results, options, matters) if compare else (None, "")
    used = _calibrations(good, options)
    written = {(str(day.root), one.id): one.notes for day in days for one in day.specimens()}
    curves = Curves(options.calibration, accuracy_percent=options.accuracy_percent)
    infos = [day.info for day in days]
    rigs = [
        SessionRig(day.root.resolve().name if several else "", *_rig(day, unit), _words(day)) for day in days
    ]
    return Content(
        title=_title(days),
        entries=tuple(_entry(result, curves, written, several, unit) for result in good),
        unit=unit,
        coverage=options.coverage,
        place=_joined(info.place for info in infos),
        date=_joined("" if info.date is None else info.date.isoformat() for info in infos),
        latitude_deg=infos[0].latitude_deg,
        height_m=infos[0].height_m,
        logger=_joined(info.logger for info in infos),
        notes="\n".join(
            f"{day.root.resolve().name}: {day.info.notes}" if several else day.info.notes
            for day in days
            if day.info.notes.strip()
        ),
        unread=tuple(
            (_in_session(result, result.pull.name, several), result.problem)
            for result in results
            if result.summary is None
        ),
        comparison=comparison,
        comparison_problem=comparison_problem,
        calibrations=tuple(used),
        rig=rigs[0].check,
        rig_words=rigs[0].words,
        rig_problem=rigs[0].problem,
        other_rigs=tuple(rigs[1:]),
        files=tuple(one for day in days for one in _files(day, good, several)),
        settings=_settings(options, unit, matters),
        versions=_versions(),
        commands=_commands(options, unit, [day.root.resolve().name for day in days] if several else ["."]),
    )


def gather_recording(
    results: Sequence[PullResult], options: ReadOptions, unit: str, session: "Session"
) -> "Content":
    """What a report tells that is about one recording of a session: nothing is compared.

    Raises: BreakyardError if the curve can't be read now.
    """
    whole = gather(session, results, options, unit, compare=False)
    path = results[0].pull.path
    return replace(
        whole,
        title=f"{path.stem}: {whole.title.removeprefix('Pulls: ')}",
        comparison_problem="This page is about one recording; the report of its session compares groups.",
        commands=tuple(
            line.replace(" . ", f" {quote(_inside(path, session.root))} ", 1)
            for line in whole.commands
            if not line.startswith("breakyard compare")
        ),
    )


def _joined(texts: "Iterable[str]") -> str:
    return ", ".join(dict.fromkeys(text for text in texts if text))


def _words(session: "Session") -> str:
    return session.info.rig if isinstance(session.info.rig, str) else ""


def _in_session(result: PullResult, name: str, several: bool) -> str:
    session = result.pull.session
    return f"{session.root.resolve().name}/{name}" if several and session is not None else name


def _title(sessions: "Sequence[Session]") -> str:
    infos = [session.info for session in sessions]
    parts = [
        part
        for part in (
            _joined(info.place for info in infos),
            _joined("" if info.date is None else info.date.isoformat() for info in infos),
        )
        if part
    ]
    return f"Pulls: {', '.join(parts) or _joined(session.root.resolve().name for session in sessions)}"


def _entry(
    result: PullResult, curves: Curves, written: Mapping[tuple[str, str], str], several: bool, unit: str
) -> "Entry":
    from breakyard.report.page.content import Entry
    from breakyard.session.filming import still_of

    assert result.summary is not None
    pull = result.pull
    root = "" if pull.session is None else str(pull.session.root)
    curve = curves.of(pull)
    named = pull.photos if pull.part in (None, 1) else ()
    return Entry(
        name=_in_session(result, pull.name, several),
        label=_in_session(result, result.label, several),
        curve=curve,
        summary=result.summary,
        group=pull.group,
        order=pull.order,
        notes=pull.notes or written.get((root, pull.specimen), ""),
        own=()
        if pull.row is None
        else tuple((name, cell) for name, cell in pull.row.more.items() if cell.strip()),
        photos=() if pull.session is None else for_page(pull.session, pull.specimen, named),
        still=still_of(result, curve, unit),
    )


def _comparison(
    results: Sequence[PullResult], options: ReadOptions, matters: float
) -> "tuple[Comparison | None, str]":
    from breakyard.session.comparing import compare_results

    try:
        return compare_results(results, matters=matters, coverage=options.coverage), ""
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


def _calibrations(results: Sequence[PullResult], options: ReadOptions) -> "list[Calibration]":
    """Every calibration that was used, once."""
    found: dict[str, Calibration] = {}
    for result in results:
        assert result.summary is not None
        if (key := result.summary.run.calibration_hash) is not None and key not in found:
            found[key] = load_calibration(options.calibration, result.pull.session, result.pull.name)
    return list(found.values())


def _files(
    session: "Session", results: Sequence[PullResult], several: bool = False
) -> "tuple[FileHash, ...]":
    """What the numbers come from: session, specimens, calibrations, and each recording with its notes."""
    from breakyard.report.page.content import FileHash
    from breakyard.session.files.responses import visible_responses

    layout = session.layout
    paths = [layout.session_file, layout.specimens_file, *session.calibrations()]
    paths += [path for path in visible_responses(session.root) if path.parent.parent == session.root]
    for result in results:
        if result.pull.session is None or result.pull.session.root != session.root:
            continue
        paths += [result.pull.path, result.pull.path.with_suffix(".toml")]
    found = []
    before = f"{session.root.resolve().name}/" if several else ""
    for path in dict.fromkeys(paths):  # several pulls may share a recording
        if path.is_file():
            data = path.read_bytes()
            found.append(FileHash(before + _inside(path, session.root), len(data), sha256_of(data)))
    return tuple(found)


def _inside(path: Path, root: Path) -> str:
    try:
        return path.resolve().relative_to(root.resolve()).as_posix()
    except ValueError:
        return path.name


def _settings(options: ReadOptions, unit: str, matters: float) -> tuple[tuple[str, str], ...]:
    settings = [
        ("Unit shown", unit),
        ("Coverage of intervals", f"{100 * options.coverage:g} %"),
        ("Difference worth knowing about", f"{100 * matters:g} %"),
    ]
    if options.accuracy_percent is not None:
        settings.append(("Accuracy stated for imported recordings", f"{options.accuracy_percent:g} %"))
    if options.misalignment_deg is not None:
        settings.append(("Largest angle between line and cell", f"{options.misalignment_deg:g} degrees"))
    if options.temperature_c is not None:
        settings.append(("Temperature of the cell during the pulls", f"{options.temperature_c:g} C"))
    if options.response is not None:
        settings.append(("Step response of the converter", _response_words(options)))
    if options.pull_speed_m_per_s is not None:
        settings.append(("Stated speed of pulling", f"{1000 * options.pull_speed_m_per_s:g} mm/s"))
    return tuple(settings)


def _versions() -> tuple[tuple[str, str], ...]:
    found = [("breakyard", VERSION), ("Python", platform.python_version())]
    for name in PACKAGES:
        try:
            found.append((name, version(name)))
        except PackageNotFoundError:
            found.append((name, "unknown"))
    return tuple(found)


def _commands(options: ReadOptions, unit: str, where: Sequence[str] = (".",)) -> tuple[str, ...]:
    """What to type in the session's folder, or in the one that several lie in."""
    words = ""
    if options.calibration is not None:
        words += f" --calibration {_calibration_words(options)}"
    if options.accuracy_percent is not None:
        words += f" --accuracy {options.accuracy_percent:g}"
    if options.coverage != ReadOptions().coverage:
        words += f" --coverage {options.coverage:g}"
    if options.misalignment_deg is not None:
        words += f" --misalignment {options.misalignment_deg:g}"
    if options.temperature_c is not None:
        words += f" --temperature {options.temperature_c:g}"
    if options.response is not None:
        words += f" --response {_response_words(options)}"
    speed = ""  # compare has no use for it
    if options.pull_speed_m_per_s is not None:
        speed = f" --pull-speed {1000 * options.pull_speed_m_per_s:g}"
    verbs = {"summarize": speed, "compare": "", "report": speed}
    return tuple(
        f"breakyard {verb} {' '.join(map(quote, where))}{words}{more} --unit {unit}"
        for verb, more in verbs.items()
    )


def _calibration_words(options: ReadOptions) -> str:
    stated = options.calibration
    return stated.stem if isinstance(stated, Path) else "" if stated is None else stated.name


def _response_words(options: ReadOptions) -> str:
    stated = options.response
    return str(stated) if isinstance(stated, str | Path) else "" if stated is None else stated.content_hash


def session_picture(
    results: Sequence[PullResult],
    options: ReadOptions,
    unit: str,
    *,
    mode: "Mode" = "light",
    form: "Form" = "wide",
) -> "FigurePicture":
    """Draw all pulls that could be read over one another. Raises: UsageError if there is none."""
    from breakyard.report.figures.overlay_figure import overlay_figure
    from breakyard.report.overlay import DrawnPull

    curves = Curves(options.calibration, accuracy_percent=options.accuracy_percent)
    drawn = [
        DrawnPull(
            curves.of(result.pull),
            result.summary,
            label=result.label,
            group=result.pull.group,
        )
        for result in results
        if result.summary is not None
    ]
    return overlay_figure(drawn, unit=unit, mode=mode, form=form)


def pictures(content: "Content") -> "dict[str, FigurePicture]":
    """Every picture by the name of its file: all pulls, strengths, calibrations, rig, each pull and its break."""
    from breakyard.report.figures.calibration_figure import calibration_figure
    from breakyard.report.figures.overlay_figure import overlay_figure
    from breakyard.report.figures.plan_figures import rig_figure
    from breakyard.report.figures.pull_figure import break_figure, pull_figure
    from breakyard.report.figures.strip_figure import Strip, strip_figure
    from breakyard.report.overlay import DrawnPull
    from breakyard.session.files.layout import name_from

    unit, entries = content.unit, content.entries
    found = {
        "all-pulls": overlay_figure(
            [DrawnPull(e.curve, e.summary, e.label, e.group) for e in entries], unit=unit
        ),
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
