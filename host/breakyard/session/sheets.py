"""A session -> the sheets of its specimens."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from breakyard.document import sha256_of
from breakyard.errors import BreakyardError, UsageError
from breakyard.session.conditions import condition_of
from breakyard.session.in_force import load_calibration
from breakyard.session.options import ReadOptions
from breakyard.session.photos import for_page
from breakyard.session.proving import prove_pulls
from breakyard.session.reading import PullResult
from breakyard.session.recordings import Curves

if TYPE_CHECKING:
    from breakyard.report.page.content import FileHash
    from breakyard.report.page.sheet import Sheet
    from breakyard.session.session import Session

OLD_DAYS: Final = 365.0
"""A calibration older than this is called old. ISO 376 and ISO 7500-1 recommend a year or so (from memory)."""

ASKED: Final[Mapping[str, tuple[str, ...]]] = {
    "Material": ("material", "resin", "wood", "steel", "fibre", "fiber"),
    "Kind and dimensions": ("width", "thickness", "diameter", "length", "area", "section", "size", "type"),
    "Direction, place of sampling": ("orientation", "direction", "axis", "position"),
    "Preparation, conditioning": (
        "preparation",
        "conditioning",
        "process",
        "cure",
        "dried",
        "humidity",
        "layer",
    ),
    "Gripping": ("grip", "clamp", "fixture", "eye", "knot"),
    "Temperature": ("temperature",),
    "Speed": ("speed", "rate"),
    "Operator": ("operator", "by"),
}
"""What ISO 6892-1 and ISO 527-1 ask of a report (from memory), and words by which a column tells it."""


def gather_sheets(
    session: "Session",
    results: Sequence[PullResult],
    options: ReadOptions,
    unit: str,
    specimens: Sequence[str] = (),
) -> "tuple[Sheet, ...]":
    """A sheet for each specimen, or for those named. Raises: UsageError (no such specimen, or no pull of it)."""
    by_specimen: dict[str, list[PullResult]] = {}
    for result in results:
        by_specimen.setdefault(result.label, []).append(result)
    for name in specimens:
        if name not in by_specimen:
            there = ", ".join(by_specimen) or "none yet"
            raise UsageError(f'{session.layout.runs}: no pull of a specimen "{name}"; there is {there}')
    curves = Curves(options.calibration, accuracy_percent=options.accuracy_percent)
    return tuple(
        _sheet(session, name, by_specimen[name], options, unit, curves)
        for name in (specimens or list(by_specimen))
    )


def _sheet(
    session: "Session",
    specimen: str,
    members: Sequence[PullResult],
    options: ReadOptions,
    unit: str,
    curves: Curves,
) -> "Sheet":
    from breakyard.report.page.content import Entry
    from breakyard.report.page.sheet import Sheet

    good = [result for result in members if result.summary is not None]
    entries = tuple(
        Entry(
            result.pull.name,
            result.label,
            curves.of(result.pull),
            result.summary,
            result.pull.group,
            result.pull.order,
            result.pull.notes or ("" if result.pull.row is None else result.pull.row.notes),
        )
        for result in good
        if result.summary is not None
    )
    try:
        proofs = tuple(one.proof for one in prove_pulls(good, options) if one.proof is not None)
    except BreakyardError:
        proofs = ()
    own = _own(session, members)
    named = dict.fromkeys(name for result in members for name in result.pull.photos)
    info = session.info
    return Sheet(
        specimen=specimen,
        entries=entries,
        unit=unit,
        group=members[0].pull.group,
        session=session.root.resolve().name,
        place=info.place,
        date="" if info.date is None else info.date.isoformat(),
        own=own,
        photos=for_page(session, members[0].pull.specimen, list(named)),
        proofs=proofs,
        calibrations=_calibrations(session, good, options),
        files=_files(session, members),
        asked=_asked(own),
        problems=tuple(result.problem for result in members if result.summary is None),
    )


def _own(session: "Session", members: Sequence[PullResult]) -> tuple[tuple[str, str], ...]:
    found: dict[str, str] = {
        name: str(value) for name, value in session.info.more.items() if condition_of(name) is not None
    }
    row = members[0].pull.row
    if row is not None:
        found |= {name: cell for name, cell in row.more.items() if cell.strip()}
        if row.mass_kg is not None:
            found["mass_kg"] = f"{row.mass_kg:g}"
    return tuple(found.items())


def _asked(own: Sequence[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    def told(words: Sequence[str]) -> str:
        return "; ".join(
            f"{name}: {value}"
            for name, value in own
            if any(word in name.lower().split("_") for word in words)
        )

    return tuple((what, told(words)) for what, words in ASKED.items())


def _calibrations(
    session: "Session", good: Sequence[PullResult], options: ReadOptions
) -> tuple[tuple[str, str], ...]:
    found: dict[str, tuple[str, str]] = {}
    for result in good:
        assert result.summary is not None
        run = result.summary.run
        if run.calibration_hash is None or run.calibration_hash in found:
            continue
        made = load_calibration(options.calibration, result.pull.session, result.pull.name)
        age = _age_days(made.created, run.start_utc_s, session)
        told = "" if age is None else f", {age:.0f} days old{' (old: check it)' if age > OLD_DAYS else ''}"
        found[run.calibration_hash] = (f"calibration {run.calibration}{told}", run.calibration_hash)
    return tuple(found.values()) or (
        ("calibration", "none: the loads are those that another instrument showed"),
    )


def _age_days(created: str, start_utc_s: float | None, session: "Session") -> float | None:
    try:
        made = datetime.fromisoformat(created)
    except ValueError:
        return None
    made = made if made.tzinfo is not None else made.replace(tzinfo=UTC)
    if start_utc_s is not None:
        then = datetime.fromtimestamp(start_utc_s, UTC)
    elif session.info.date is not None:
        day = session.info.date
        then = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    else:
        return None
    return max((then - made).total_seconds() / 86400.0, 0.0)


def _files(session: "Session", members: Sequence[PullResult]) -> "tuple[FileHash, ...]":
    from breakyard.report.page.content import FileHash

    found = []
    for path in dict.fromkeys(result.pull.path for result in members):
        data = path.read_bytes()
        found.append(FileHash(path.name, len(data), sha256_of(data)))
    return tuple(found)
