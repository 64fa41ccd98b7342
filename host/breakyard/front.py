"""What the front door offers as functions: they take what people have and hand it to the rooms.

A recording may be a path (as text or `Path`), the bytes of a file, an open file, a pandas table with the headers that
a file would have, or a pull of a session. Recordings inside a session are read as the session says: with its
calibration, the step response measured of the logger, the conditions of the pull, and the notes of an import.
"""

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from os import PathLike
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Literal

from breakyard.calibration import Calibration, Point, gravity_at, parse_load
from breakyard.calibration import calibrate as _calibrate
from breakyard.comparison import Comparison, Quantity
from breakyard.comparison import compare as _compare
from breakyard.comparison.given import Value, observations_from
from breakyard.comparison.results import Compared
from breakyard.curve import LoadCurve, curve_from_columns, curve_from_run
from breakyard.errors import BreakyardError, DataError, UsageError
from breakyard.pull.in_use import UNKNOWN, InUse
from breakyard.pull.results import Summary
from breakyard.pull.split import split_pulls
from breakyard.pull.summarize import summarize as _summarize
from breakyard.run import Run, read_runs, run_from_columns
from breakyard.session.files.info import SessionInfo
from breakyard.session.finding import find_pulls
from breakyard.session.in_force import ASSUMED, load_calibration, read_calibration_file
from breakyard.session.options import ReadOptions
from breakyard.session.pulls import Pull
from breakyard.session.reading import curves_of, summary_of
from breakyard.session.recordings import RAW, read_recording
from breakyard.session.session import Session, create_session, open_session
from breakyard.units import force_unit, parse_force, parse_share

if TYPE_CHECKING:
    import pandas as pd

    from breakyard.converter import StepResponse
    from breakyard.plan.ranges import RangePlan, RangeQuestion
    from breakyard.plan.rig import Rig, RigCheck
    from breakyard.plan.specimens import Plan
    from breakyard.session.files.specimens import Specimen

Folder = Session | str | PathLike[str]
"""A session, or the path of one."""

Groups = Folder | Sequence[Folder] | Mapping[str, Iterable[Value]] | Sequence[Iterable[Value]]
"""Sessions whose pulls are compared, or the loads of each group."""

Source = str | PathLike[str] | bytes | IO[bytes] | IO[str]
"""A recording or a document: a path, the bytes of a file, or an open file."""

Recording = Source | Pull
"""What a recording can be read from, beside a pandas table with headers like a file's."""


def read(
    source: "Recording | pd.DataFrame", calibration: "Source | Calibration | None" = None, *, name: str = ""
) -> Run | LoadCurve:
    """Read a recording: a logger's run, or another instrument's table of loads or counts (CSV).

    Counts come back as a `Run`, loads as a `LoadCurve`. With a calibration counts become a `LoadCurve` too.

    Args:
        source: a path, the bytes of a file, an open file, a pandas table ("time_s", "load_kN"), or a session's pull.
        calibration: a `Calibration`, its file, or its name in the session.
        name: what to call it, where the source does not tell.

    Raises: DataError (not there, not a recording), UnitError (a table without its unit), UsageError (a session's
        folder: open it with `open_session`; a calibration for a table of loads), CalibrationError.

    Example:
        >>> import breakyard as by
        >>> by.read("demo-session/runs/S1.run").converter.gain
        128
    """
    path = _path(source)
    if path is not None:
        if path.is_dir():
            raise UsageError(
                f'{path}: this is a folder; open a session with breakyard.open_session("{path}")'
            )
        source = find_pulls([path])[0]
    if isinstance(source, Pull):
        found = read_recording(source)
        session = source.session
    else:
        found, session = _read_bytes(source, name), None
    if calibration is None:
        return found
    if isinstance(found, LoadCurve):
        raise UsageError(f"{found.name}: this recording holds loads, not counts; leave out the calibration")
    return curve_from_run(found, _calibration(calibration, session))


def read_calibration(source: Source) -> Calibration:
    """Read a calibration from its JSON document.

    Raises: CalibrationError, DataError (no calibration, or changed after it was made).

    Example:
        >>> import breakyard as by
        >>> by.read_calibration("demo-session/calibrations/weights.json").degree
        1
    """
    path = _document_path(source)
    if path is not None:
        return read_calibration_file(path)
    return Calibration.from_json(_bytes(source).decode("utf-8-sig"))


def new_session(
    folder: "str | PathLike[str]",
    info: SessionInfo | None = None,
    specimens: "Iterable[Specimen]" = (),
    **details: Any,
) -> Session:
    """Make a new session: a folder for one outing's runs, specimens, calibrations and results.

    Args:
        folder: must be new, or empty.
        info: what session.toml is to say; or give its fields as keywords: place, date, latitude_deg, height_m, unit,
            rig, logger, calibration, notes.
        specimens: rows of specimens.csv.

    Raises: UsageError (the folder holds something, an unknown keyword), UnitError, DataError (the disk refuses).

    Example:
        >>> import breakyard as by
        >>> by.new_session("2026-05-03-slipway", place="slipway", unit="kgf")
        Session '2026-05-03-slipway': slipway, 0 runs
    """
    if info is not None and details:
        raise UsageError("give either info, or its fields as keywords")
    try:
        info = info or SessionInfo(**details)
    except TypeError:
        known = ", ".join(SessionInfo.__dataclass_fields__)
        raise UsageError(f"unknown keyword among {', '.join(details)}; session.toml has {known}") from None
    force_unit(info.unit)
    return create_session(Path(folder), info, specimens)


def calibrate(
    known: "Source | Run | Sequence[Point] | Sequence[tuple[str | float, float]] | Mapping[str, float] | pd.DataFrame",
    *,
    masses: str | None = None,
    mass_limit: float | None = None,
    capacity: str | float | None = None,
    rated_output_mv_v: float | None = None,
    latitude_deg: float | None = None,
    height_m: float = 0.0,
    gain: int | None = 128,
    degree: int | None = None,
    name: str = "",
    temperature_c: float | None = None,
) -> Calibration:
    """Calibrate a cell: known loads and the counts they gave -> a `Calibration` with its uncertainties.

    Args:
        known: pairs of a known load ("20 kg", "3 x 20 kg +- 0.01 kg", "0") and its mean counts, as a list or a
            dictionary; or a table with the columns Load and Counts (CSV, or pandas); or the recording in which the
            masses were hung, with `masses`.
        masses: what hung in a recording, in order: "0, 20 kg, 40 kg, 20 kg, 0".
        mass_limit: how far off masses may be that state no +-, as a share (0.001); None: 0.03, and a flag.
        capacity: of the cell, as on its plate: "1000 kgf", or newtons.
        rated_output_mv_v: of the cell, as on its plate.
        latitude_deg: where the masses hung, for gravity; None: standard gravity with its large uncertainty.
        height_m: above the sea.
        gain: of the converter: 128, 64 or 32.
        degree: of the polynomial in counts, 1 to 3; None: what the points support.
        temperature_c: of the cell.

    Source of the method: ASTM E74 for the polynomial, JCGM 100 for its uncertainty.
    Raises: CalibrationError (points that cannot carry it), DataError, UnitError, UsageError.

    Example:
        >>> import breakyard as by
        >>> hung = [("0", 49404), ("20 kg", 92560), ("40 kg", 135711), ("60 kg", 178862)]
        >>> by.calibrate(hung, capacity="1000 kgf", latitude_deg=54.3, name="bench").points[1].load.text
        '20 kg'
    """
    from breakyard.calibration import Plate

    plate = None
    if capacity is not None:
        newtons = parse_force(capacity) if isinstance(capacity, str) else float(capacity)
        plate = Plate(capacity_n=newtons, rated_output_mv_v=rated_output_mv_v)
    elif rated_output_mv_v is not None:
        raise UsageError('the rated output belongs to a capacity: add capacity="1000 kgf"')
    points, told = _points(known, masses, mass_limit)
    return _calibrate(
        points,
        plate=plate,
        gain=gain if told is None else told,
        gravity=None if latitude_deg is None else gravity_at(latitude_deg, height_m),
        degree=degree,
        name=name,
        created=datetime.now(UTC).isoformat(timespec="seconds"),
        temperature_c=temperature_c,
    )


def summarize(
    pull: "LoadCurve | Run | Recording | pd.DataFrame",
    calibration: "Source | Calibration | None" = None,
    *,
    coverage: float = 0.95,
    misalignment_deg: float | None = None,
    temperature_c: float | None = None,
    in_use: InUse | None = None,
    filter_order: int | None = None,
    response: 'StepResponse | Literal["assumed"] | None' = None,
    pull_speed_m_per_s: float | None = None,
) -> Summary:
    """Read one pull: its peak with an interval, how it was loaded, how it broke, and what to doubt.

    The same figures as `breakyard summarize` gives, to the last bit.

    Args:
        pull: a load curve, a run with its calibration, or a recording (path, bytes, open file, pandas table, a
            session's pull).
        calibration: for counts; None: the one in force in the recording's session.
        coverage: of the peak's interval, from 0.5 to 0.999.
        misalignment_deg: largest angle between the line of pull and the cell's axis that you vouch for; None: what the
            session says of the pull, else taken wide.
        temperature_c: of the cell during the pull; None: the same.
        in_use: what is known of the cell between calibration and pull; None: what the session knows, else all assumed
            wide.
        filter_order: of the converter's filter, where you know it.
        response: step response measured of the logger; None: the one in force; "assumed": none.
        pull_speed_m_per_s: from which the extension follows where none was recorded; None: what the session says.

    Raises: NoPull (nothing rises above the noise), DataError, CalibrationError, UsageError (counts without a
        calibration, options out of range, several pulls in one recording: see `split_pulls`).

    Example:
        >>> import breakyard as by
        >>> summary = by.summarize("demo-session/runs/S1.run")
        >>> summary.peak.low_n < summary.peak.estimate_n < summary.peak.high_n
        True
    """
    recorded = _recorded(pull)
    if recorded is not None:
        options = ReadOptions(
            None if calibration is None else _calibration(calibration, recorded.session),
            coverage=coverage,
            misalignment_deg=misalignment_deg,
            temperature_c=temperature_c,
            response=response,
            pull_speed_m_per_s=pull_speed_m_per_s,
        )
        curve = _alone(curves_of(recorded, options))
        return summary_of(recorded, curve, options, in_use=in_use, filter_order=filter_order)
    curve = _curve(pull, calibration)
    if not isinstance(pull, LoadCurve):
        curve = _alone(split_pulls(curve))
    return _summarize(
        curve,
        coverage=coverage,
        misalignment_deg=misalignment_deg,
        temperature_c=temperature_c,
        in_use=UNKNOWN if in_use is None else in_use,
        filter_order=filter_order,
        response=response,
        pull_speed_m_per_s=pull_speed_m_per_s,
    )


def compare(
    groups: "Groups | Iterable[Value] | pd.DataFrame",
    *more: "Folder | Iterable[Value]",
    unit: str = "N",
    of: Quantity = "strength",
    per: str | None = None,
    reference: str | None = None,
    matters: float = 0.10,
    coverage: float = 0.95,
) -> Comparison:
    """Compare groups honestly: few specimens, some of them only "at least", one instrument for all.

    Args:
        groups: a session (or several, or its path), whose specimens.csv names the groups; or the loads of each group,
            as {"bonded": [410, 395, "at least 500"], "screwed": [310, 330]}, as a list of such lists, or as a pandas
            table with a column for each group. A load is a number in `unit`, a text with its own unit,
            `at_least(500)`, or a `Summary`.
        more: further sessions, or further lists of loads.
        unit: of plain numbers.
        of: "strength", "first_peak" (first yield) or "settled", where pulls are compared.
        per: "mass", or a column of specimens.csv to divide by.
        reference: compare the other groups with this one only.
        matters: the relative difference worth knowing about.
        coverage: of all intervals, and 1 minus the risk of claiming a difference that is none.

    Raises: DataError (nothing to compare), UsageError (no load, unknown group, column or share), UnitError.

    Example:
        >>> import breakyard as by
        >>> both = by.compare({"bonded": [410, 395, by.at_least(450)], "screwed": [210, 230, 221]}, unit="kgf")
        >>> both.pairs[0].first, both.pairs[0].second
        ('bonded', 'screwed')
    """
    given: Any = [groups, *more] if more else groups
    sessions = _sessions(given)
    if sessions is not None:
        from breakyard.session.comparing import compare_results

        results = [result for session in sessions for result in session.results(coverage=coverage)]
        return compare_results(
            results, of=of, per=per, reference=reference, matters=matters, coverage=coverage
        )
    if per is not None:
        raise UsageError("plain loads have no column to divide by; divide them first, or compare a session")
    force_unit(unit)
    observations = observations_from(_loads(given), unit=unit, of=of)
    return _compare(
        observations,
        coverage=coverage,
        matters=matters,
        reference=reference,
        quantity=Compared(of, None, "N"),
    )


def plan_range(
    expected: "RangeQuestion | str | tuple[float, float]",
    *,
    capacity: str | float | None = None,
    rated_output_mv_v: float | None = None,
    gain: int = 128,
    rate_hz: float = 80.0,
    loading: str = "winch",
    unit: str | None = None,
    **more: Any,
) -> "RangePlan":
    """Plan the range: does the expected load fit the cell and the converter, and what clips first?

    Args:
        expected: "300..500 kgf", or two numbers of newtons.
        capacity: of the cell, as on its plate: "1 tf", or newtons.
        rated_output_mv_v: of the cell, as on its plate.
        gain: of the converter: 128, 64 or 32.
        rate_hz: conversions a second.
        loading: what pulls: hand winch, winch, hoist, slow vehicle, jerk.
        unit: for the sentences; None: that of `expected`.
        more: other fields of a `RangeQuestion`: cells, ratio, sheaves, supply_v ...

    Raises: UsageError, UnitError.

    Example:
        >>> import breakyard as by
        >>> by.plan_range("300..500 kgf", capacity="1 tf", rated_output_mv_v=2).ok
        True
    """
    from breakyard.calibration import Plate
    from breakyard.plan.describe import find_loading
    from breakyard.plan.quantities import parse_force_range, unit_of
    from breakyard.plan.ranges import RangeQuestion
    from breakyard.plan.ranges import plan_range as plan

    if isinstance(expected, RangeQuestion):
        return plan(expected, unit=unit or "N")
    if capacity is None or rated_output_mv_v is None:
        raise UsageError('the cell\'s plate is needed: capacity="1 tf", rated_output_mv_v=2')
    low_n, high_n = parse_force_range(expected) if isinstance(expected, str) else expected
    question = RangeQuestion(
        low_n,
        high_n,
        Plate(parse_force(capacity) if isinstance(capacity, str) else capacity, rated_output_mv_v),
        gain=gain,
        rate_hz=rate_hz,
        loading=find_loading(loading),
        **more,
    )
    return plan(question, unit=unit or (unit_of(expected) if isinstance(expected, str) else "N"))


def check_rig(
    rig: "Rig | Session | Mapping[str, Any] | str | PathLike[str]", *, unit: str = "N"
) -> "RigCheck":
    """Check a rig: is the specimen the weakest part, does everything hold, who may stand where?

    The check says what the numbers say. It never says that a rig is safe.

    Args:
        rig: a session, its path, a TOML file with a table [rig], or that table as plain values.
        unit: for the sentences.

    Raises: DataError, UnitError or UsageError, with the part and the key.

    Example:
        >>> import breakyard as by
        >>> by.check_rig("demo-session", unit="kgf").specimen_is_weakest
        True
    """
    from breakyard.plan.describe import rig_from_table
    from breakyard.plan.rig import Rig
    from breakyard.plan.rig import check_rig as check

    if isinstance(rig, Rig):
        return check(rig, unit=unit)
    where = "rig"
    if isinstance(rig, str | PathLike):
        path = Path(rig)
        where = str(path)
        if path.is_dir():
            rig = open_session(path)
        else:
            try:
                rig = tomllib.loads(path.read_text("utf-8"))
            except OSError as error:
                raise DataError(f"{path}: cannot be read ({error.strerror or error})") from error
            except ValueError as error:
                raise DataError(f"{path}: this is not valid TOML ({error})") from None
    if isinstance(rig, Session):
        where, table = str(rig.layout.session_file), rig.info.rig
        if isinstance(table, str):
            raise UsageError(f"{where}: there is no table [rig]; breakyard rig --template prints one")
        return check(rig_from_table(table, where=where), unit=unit)
    return check(rig_from_table(rig.get("rig", rig), where=where), unit=unit)


def design(
    difference: str | float = 0.2,
    scatter: str | float = 0.1,
    *,
    groups: int = 2,
    confidence: str | float = 0.95,
    power: str | float = 0.8,
    own: str | float = 0.003,
    shared: str | float = 0.005,
    strengths: Literal["normal", "weibull"] = "normal",
    seed: int = 1,
) -> "Plan":
    """Plan a comparison: how many specimens per group show a difference, if it is there.

    Shares are numbers (0.2) or texts ("20%").

    Args:
        difference: relative difference that matters.
        scatter: standard deviation over mean within a group.
        groups: number of groups; every pair of them is looked at.
        confidence: of the verdict.
        power: chance to find the difference.
        own: standard uncertainty of one pull by itself (noise, zero, sampling).
        shared: standard uncertainty that all pulls of one calibration share.
        strengths: how they scatter.
        seed: of the simulation.

    Source: Cohen, Statistical Power Analysis, ch. 2 (noncentral t); raised by a simulation with Welch's test.
    Raises: UsageError.

    Example:
        >>> import breakyard as by
        >>> by.design("20%", "8%").per_group
        5
    """
    from breakyard.plan.specimens import Instrument, plan_specimens

    return plan_specimens(
        parse_share(difference),
        parse_share(scatter),
        instrument=Instrument(parse_share(own), parse_share(shared)),
        strengths=strengths,
        confidence=parse_share(confidence),
        power_wanted=parse_share(power),
        groups=groups,
        seed=seed,
    )


def _path(source: object) -> Path | None:
    """The path that a source is; None for what has the bytes itself. Raises: UsageError for anything else."""
    if isinstance(source, str | PathLike):
        return Path(source)
    if isinstance(source, bytes | bytearray | memoryview | Pull) or hasattr(source, "read"):
        return None
    if hasattr(source, "to_csv") and hasattr(source, "columns"):
        return None
    if isinstance(source, Session):
        raise UsageError(
            f"{source.root}: a session holds several pulls; session.summaries() reads them all, "
            'session.summary("S1") one of them'
        )
    raise UsageError(
        f"give a path, bytes, an open file, a pandas table or a session's pull, not {type(source).__name__}"
    )


def _document_path(source: object) -> Path | None:
    """The same, but a text that is itself JSON is no path."""
    if isinstance(source, str) and source.lstrip().startswith("{"):
        return None
    return _path(source)


def _bytes(source: Any) -> bytes:
    if hasattr(source, "to_csv"):  # read as the file that it would be, so that the same rules hold
        data = source.to_csv(index=source.index.name is not None)
    else:
        data = source.read() if hasattr(source, "read") else source
    return data.encode() if isinstance(data, str) else bytes(data)


def _read_bytes(source: Any, name: str) -> Run | LoadCurve:
    from breakyard.formats.read_csv import parse_csv

    data = _bytes(source)
    name = name or Path(str(getattr(source, "name", "recording"))).stem
    try:
        runs = read_runs(data, name=name)
    except DataError as no_run:
        try:
            recording = parse_csv(data, name=name)
        except BreakyardError as no_table:
            if b"\0" in data:
                raise no_run from None
            raise no_table from None
        if recording.counts is not None:
            return run_from_columns(recording.time_s, recording.counts, name=name)
        assert recording.load_n is not None
        return curve_from_columns(
            recording.time_s, recording.load_n, name=name, extension_m=recording.extension_m
        )
    if len(runs) > 1:
        raise DataError(f"{name}: {len(runs)} runs in one file; read them with breakyard.run.read_runs")
    return runs[0]


def _calibration(stated: "Source | Calibration | None", session: Session | None) -> Calibration:
    if isinstance(stated, Calibration):
        return stated
    path = _document_path(stated)
    if path is None:
        return read_calibration(stated)  # type: ignore[arg-type]
    return load_calibration(path, session, str(path))


def _recorded(source: object) -> Pull | None:
    """The recording on disk that is meant, with what its session says of it; None for what is no file."""
    if isinstance(source, LoadCurve | Run):
        return None
    path = _path(source)
    if path is not None:
        if path.is_dir():
            raise UsageError(
                f'{path}: a folder; give one recording, or breakyard.open_session("{path}").summaries()'
            )
        return find_pulls([path])[0]
    return source if isinstance(source, Pull) else None


def _alone(curves: Sequence[LoadCurve]) -> LoadCurve:
    """The only pull of a recording. Raises: UsageError if there are several."""
    if len(curves) > 1:
        raise UsageError(
            f"{curves[0].name}: {len(curves)} pulls in one recording; take it apart with "
            "breakyard.split_pulls(curve), and summarize each"
        )
    return curves[0]


def _curve(
    pull: "LoadCurve | Run | Recording | pd.DataFrame", calibration: "Source | Calibration | None"
) -> LoadCurve:
    if isinstance(pull, LoadCurve):
        if calibration is not None:
            raise UsageError(f"{pull.name}: a load curve has its calibration; leave out the argument")
        return pull
    if isinstance(pull, Run):
        if calibration is None:
            raise UsageError(
                f"{pull.name}: a run holds counts; give its calibration, as in summarize(run, calibration=...)"
            )
        return curve_from_run(pull, _calibration(calibration, None))
    recording = read(pull)
    return recording if isinstance(recording, LoadCurve) else _curve(recording, calibration)


def _sessions(groups: object) -> list[Session] | None:
    """The sessions that are meant; None where the groups are given as loads."""
    if isinstance(groups, Session):
        return [groups]
    if isinstance(groups, str | PathLike):
        return [open_session(Path(groups))]
    if (
        isinstance(groups, Sequence)
        and groups
        and all(isinstance(one, Session | str | PathLike) for one in groups)
    ):
        return [one if isinstance(one, Session) else open_session(Path(one)) for one in groups]
    return None


_WHAT_HUNG = 'say what hung in the recording, in order: masses="0, 20 kg, 40 kg, 20 kg, 0"'


def _loads(groups: Any) -> Any:
    """The loads of each group; of a pandas table its columns, whose shorter ones end in blanks."""
    if hasattr(groups, "columns"):
        return {str(column): groups[column].dropna() for column in groups.columns}
    return groups


def _points(known: Any, masses: str | None, mass_limit: float | None) -> tuple[Sequence[Point], int | None]:
    """Points, and the gain where a recording tells it."""
    from breakyard.calibration import parse_loads, points_from_run

    if masses is not None:
        run = known if isinstance(known, Run) else read(known)
        if isinstance(run, LoadCurve):
            raise UsageError(f"{run.name}: this recording holds loads; a calibration is made from counts")
        points, _ = points_from_run(run, parse_loads(masses, mass_limit=mass_limit))
        return points, None if run.converter is None else run.converter.gain
    if isinstance(known, Run):
        raise UsageError(_WHAT_HUNG)
    if isinstance(known, Sequence) and not isinstance(known, str | bytes):
        return [_point(row, mass_limit) for row in known], None
    if isinstance(known, Mapping):
        return [_point(row, mass_limit) for row in known.items()], None
    from breakyard.formats.read_points import parse_points, read_points

    path = _path(known)
    if path is not None:
        if path.suffix.lower() in RAW:
            raise UsageError(f"{path}: {_WHAT_HUNG}")
        return read_points(path, mass_limit=mass_limit), None
    return parse_points(_bytes(known), where="the table", mass_limit=mass_limit), None


def _point(row: Any, mass_limit: float | None) -> Point:
    if isinstance(row, Point):
        return row
    try:
        load, counts = row
        counts = float(counts)
    except (TypeError, ValueError):
        raise UsageError(
            f'a point is a known load and its counts, as ("20 kg", 92560), not {row!r}'
        ) from None
    if not isinstance(load, str):
        if load == 0:
            load = "0"
        else:
            raise UsageError(f'say the unit of the known load: "{load} kg", not {load!r}')
    return Point(parse_load(load, mass_limit=mass_limit), counts)


__all__ = [
    "ASSUMED",
    "Source",
    "calibrate",
    "check_rig",
    "compare",
    "design",
    "new_session",
    "plan_range",
    "read",
]
