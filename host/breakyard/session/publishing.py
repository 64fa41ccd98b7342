"""Sessions -> one publication: every pull as a row, every curve, photos, a codebook, a licence."""

import json
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from breakyard.disk.folders import finish_folder, replace_folder, strangers
from breakyard.document import sha256_of
from breakyard.errors import BreakyardError, DataError, UsageError
from breakyard.formats.tidy import ABOUT, MARK, Field, Kind, TidyTable, curve_table, package, slug
from breakyard.session.conditions import condition_of, with_conditions
from breakyard.session.files.layout import name_from
from breakyard.session.options import ReadOptions
from breakyard.session.photos import bare, photos_of
from breakyard.session.reading import PullResult
from breakyard.session.recordings import Curves
from breakyard.units import FORCE_UNITS, force_unit
from breakyard.version import VERSION

if TYPE_CHECKING:
    from breakyard.pull.results import Summary
    from breakyard.session.session import Session

DESCRIPTION: Final = (
    "Pulls of specimens with the load they bore, measured by their owner with Breakyard. Each strength has a 95 % "
    'interval; rows with at_least = true are lower bounds ("at least this much") and must not be averaged as if they '
    "were loads. The numbers are measurements of these specimens and no rating of any part."
)

_FIRST: Final = (
    Field("session", "string", "name of the session's folder"),
    Field("date", "date", "day of the session"),
    Field("place", "string", "where it was"),
    Field("recording", "string", "name of the recording, with #1, #2 ... where it holds several pulls"),
    Field("specimen", "string", "id of the specimen in its session"),
    Field("group", "string", "what is compared"),
    Field("order", "integer", "place in the planned sequence"),
    Field("mass_kg", "number", "mass of the specimen"),
)


def publish(
    results: Sequence[PullResult],
    options: ReadOptions,
    to: Path,
    *,
    unit: str = "N",
    licence: str | None = None,
    title: str = "",
) -> tuple[Path, ...]:
    """Write the publication into a folder, replacing an earlier one there; returns its files.

    Raises: UsageError (pulls outside of sessions, a folder that holds something else, an unknown licence), DataError
    (disk), BreakyardError (a curve that cannot be read now).
    """
    unit = force_unit(unit)
    sessions = _sessions(results)
    names = _names([session.root.resolve() for session in sessions])
    curves: list[TidyTable] = []
    rows: list[list[Any]] = []
    own = _own_columns(sessions)
    alone = "" if len(sessions) > 1 else f"{next(iter(names.values()))}/"
    paths = [f"curves/{alone}{place}.csv" for place in curve_places(results)]
    reader = Curves(options.calibration, accuracy_percent=options.accuracy_percent)
    for result, path in zip(results, paths, strict=True):
        table = _curve(result, reader, path, unit)
        if table is not None:
            curves.append(table)
        rows.append(_row(result, options, names, own, unit, "" if table is None else path))
    fields = (*_FIRST, *(field for _, field in own), *_read_fields(unit, options.coverage))
    pulls = TidyTable(
        "pulls", "pulls.csv", fields, rows, ("session", "recording"), title="Every pull, with what it bore"
    )
    pictures = {}
    for session in sessions:
        folder = f"photos/{names[session.root.resolve()]}"
        for specimen in _specimens(results, session):
            for number, photo in enumerate(photos_of(session, specimen), start=1):
                pictures[f"{folder}/{name_from(specimen)}-{number}.jpg"] = bare(photo)
    files = package(
        [pulls, *curves],
        pictures,
        title=title or f"Pulls: {', '.join(names.values())}",
        description=DESCRIPTION,
        licence=licence,
        created=datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
    )
    return _write(files, to)


def _sessions(results: Sequence[PullResult]) -> "list[Session]":
    found: dict[Path, Session] = {}
    for result in results:
        if result.pull.session is None:
            raise UsageError(
                f"{result.pull.path}: only sessions can be published; import the recording into one"
            )
        found.setdefault(result.pull.session.root.resolve(), result.pull.session)
    return list(found.values())


def _names(roots: Sequence[Path]) -> dict[Path, str]:
    """A name for each folder; where two are called alike, the later get numbers."""
    names: dict[Path, str] = {}
    for root in roots:
        name, number = name_from(root.name), 2
        while name in names.values():
            name, number = f"{name_from(root.name)}-{number}", number + 1
        names[root] = name
    return names


def _specimens(results: Sequence[PullResult], session: "Session") -> list[str]:
    return list(
        dict.fromkeys(
            result.pull.specimen
            for result in results
            if result.pull.session is not None
            and result.pull.session.root == session.root
            and result.pull.specimen
        )
    )


def curve_places(results: Sequence[PullResult]) -> list[str]:
    """Where each pull's curve goes, without an ending: in a folder for each session where there are several.

    No two are alike, on a disk for which capitals are no difference too.
    """
    roots: dict[Path, None] = {}
    for result in results:
        roots.setdefault(_root(result))
    names = _names(list(roots))
    taken: set[str] = set()
    places = []
    for result in results:
        stem = name_from(result.pull.name)
        if len(roots) > 1:
            stem = f"{names[_root(result)]}/{stem}"
        place, number = stem, 2
        while place.casefold() in taken:
            place, number = f"{stem}-{number}", number + 1
        taken.add(place.casefold())
        places.append(place)
    return places


def _root(result: PullResult) -> Path:
    session = result.pull.session
    return (result.pull.path.parent if session is None else session.root).resolve()


def _curve(result: PullResult, reader: Curves, path: str, unit: str) -> TidyTable | None:
    try:
        curve = reader.of(result.pull)
    except BreakyardError:
        if result.summary is not None:
            raise
        return None
    zero_n = 0.0 if result.summary is None else result.summary.zero.load_n
    name = slug(path.removesuffix(".csv").replace("/", "-"))
    return curve_table(curve, name=name, path=path, unit=unit, zero_n=zero_n)


def _own_columns(sessions: "Sequence[Session]") -> list[tuple[str, Field]]:
    """People's own columns of all sessions, in their order, with the kind that all of their cells are."""
    taken = {one.name for one in (*_FIRST, *_read_fields("N", 0.95))}
    cells: dict[str, list[str]] = {}
    for session in sessions:
        for one in session.specimens():
            for name, cell in one.more.items():
                cells.setdefault(name, []).append(cell)
    found = []
    for name, values in cells.items():
        if condition_of(name) is not None:
            continue
        numbers = [_number(cell) for cell in values if cell.strip()]
        kind: Kind = "number" if numbers and None not in numbers else "string"
        shown = name if name not in taken else f"own_{name}"
        found.append((name, Field(shown, kind, "a column of the owner's own, as it was written")))
    return found


def _number(cell: str) -> float | None:
    try:
        value = float(cell.strip().replace(",", "."))
    except ValueError:
        return None
    return value if abs(value) < float("inf") else None


def _read_fields(unit: str, coverage: float) -> tuple[Field, ...]:
    percent = f"{100 * coverage:g} %"
    return (
        Field("notes", "string", "what was written down"),
        Field("temperature_C", "number", "of the cell during the pull, where it was stated"),
        Field(
            "misalignment_deg", "number", "largest angle between line of pull and cell that was vouched for"
        ),
        Field("pull_speed_mm_per_s", "number", "speed of pulling, where it was stated"),
        Field(f"strength_{unit}", "number", "what the specimen bore; where at_least is true, at least this"),
        Field(f"strength_low_{unit}", "number", f"lower end of its {percent} interval, or the bound"),
        Field(f"strength_high_{unit}", "number", f"upper end of its {percent} interval; empty for a bound"),
        Field("at_least", "boolean", "true: it did not break, or the peak is itself a bound"),
        Field(f"peak_{unit}", "number", "the largest load that was measured"),
        Field(f"peak_low_{unit}", "number", f"lower end of its {percent} interval"),
        Field(f"peak_high_{unit}", "number", f"upper end of its {percent} interval; empty for a bound"),
        Field(f"largest_sample_{unit}", "number", "the largest sample as it stands"),
        Field(f"first_peak_{unit}", "number", "first maximum before a fall of 0.5 % or more (ISO 6892-1)"),
        Field(f"settled_{unit}", "number", "what it still held after the peak, before it let go"),
        Field("manner", "string", "how it broke: brittle, ductile, progressive, none"),
        Field(f"rate_{unit}_per_s", "number", "loading rate, in the middle"),
        Field("peak_time_s", "number", "moment of the peak, seconds from the first sample"),
        Field("cycles", "integer", "loadings of the same specimen before this one, in the same recording"),
        Field("extension_at_peak_mm", "number", "extension at the peak, where lengths are known"),
        Field(f"stiffness_{unit}_per_mm", "number", "between 10 and 40 % of the peak"),
        Field("at_cell_factor", "number", "load at the specimen over that at the cell; empty: in line"),
        Field("flags", "string", "doubts, in short words, separated by blanks"),
        Field("problem", "string", "why there are no numbers"),
        Field("calibration", "string", "name of the calibration"),
        Field("calibration_sha256", "string", "hash of its content"),
        Field("recording_sha256", "string", "hash of the raw recording's file"),
        Field("curve", "string", "file of the load curve"),
        Field("software", "string", "program and version that read it"),
    )


def _row(
    result: PullResult,
    options: ReadOptions,
    names: dict[Path, str],
    own: Sequence[tuple[str, Field]],
    unit: str,
    curve: str,
) -> list[Any]:
    pull, session = result.pull, result.pull.session
    assert session is not None
    row = pull.row
    first: list[Any] = [
        names[session.root.resolve()],
        None if session.info.date is None else session.info.date.isoformat(),
        session.info.place,
        pull.name,
        pull.specimen,
        pull.group,
        pull.order,
        None if row is None else row.mass_kg,
    ]
    for name, field in own:
        cell = "" if row is None else row.more.get(name, "").strip()
        first.append((_number(cell) if field.kind == "number" else cell) if cell else None)
    try:
        known = with_conditions(options, pull)
    except BreakyardError:  # the result's problem says it
        known = options
    speed = known.pull_speed_m_per_s
    notes = pull.notes or ("" if row is None else row.notes)
    said: list[Any] = [
        " ".join(notes.split()),
        known.temperature_c,
        known.misalignment_deg,
        None if speed is None else 1000.0 * speed,
    ]
    calibration = result.summary.run.calibration if result.summary is not None else None
    hashed = result.summary.run.calibration_hash if result.summary is not None else None
    return [
        *first,
        *said,
        *_read(result.summary, unit),
        result.problem or None,
        calibration,
        hashed,
        sha256_of(pull.path.read_bytes()),
        curve or None,
        f"breakyard {VERSION}",
    ]


def _read(summary: "Summary | None", unit: str) -> list[Any]:
    if summary is None:
        return [None] * 18
    factor = FORCE_UNITS[unit]

    def load(value_n: float | None) -> float | None:
        return None if value_n is None else value_n / factor

    strength, peak = summary.strength, summary.peak
    return [
        load(strength.value_n),
        load(strength.low_n),
        load(strength.high_n),
        strength.at_least,
        load(peak.estimate_n),
        load(peak.low_n),
        load(peak.high_n),
        load(peak.largest_sample_n),
        None if summary.first_peak is None else load(summary.first_peak.load_n),
        None if summary.settled is None else load(summary.settled.load_n),
        summary.failure.manner,
        load(summary.rate.median_n_per_s),
        peak.time_s,
        max(len(summary.cycles) - 1, 0),
        *_lengths(summary, factor),
        None if summary.at_cell is None else summary.at_cell.factor,
        " ".join(summary.flags),
    ]


def _lengths(summary: "Summary", factor: float) -> tuple[float | None, float | None]:
    found = summary.extension
    if found is None:
        return None, None
    at_peak = None if found.at_peak_m is None else 1000.0 * found.at_peak_m
    return at_peak, None if found.stiffness is None else found.stiffness.value / factor / 1000.0


def _published(folder: Path) -> set[str]:
    """What an earlier publication says that it consists of."""
    found = {MARK, *ABOUT}
    with suppress(OSError, ValueError, KeyError, TypeError):
        document = json.loads((folder / MARK).read_text(encoding="utf-8"))
        found |= {str(one["path"]) for one in document["resources"]}
    return found


def _write(files: dict[str, bytes], to: Path) -> tuple[Path, ...]:
    """Write all files: an earlier publication leaves only when the new one is whole."""
    finish_folder(to)
    if to.exists() and (not to.is_dir() or (any(to.iterdir()) and not (to / MARK).is_file())):
        raise UsageError(f"{to}: this is neither empty nor an earlier publication; choose another folder")
    if to.exists() and (other := strangers(to, _published(to))):
        raise UsageError(
            f"{to}: {other[0]} is there, which belongs to no publication and would be lost; move it elsewhere, "
            "or choose another folder"
        )
    try:
        replace_folder(to, files)
    except PermissionError as error:
        where = error.filename2 or error.filename or to
        raise DataError(
            f"{where}: cannot be written ({error.strerror or error}); if another program has it open, close it there "
            "and give the command again"
        ) from error
    except OSError as error:
        raise DataError(f"{to}: cannot be written ({error.strerror or error})") from error
    return tuple(to / path for path in files)
