"""What `breakyard calibrate` is given: known loads from a recording, a table or a second cell; place, air, plate."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from breakyard.errors import BreakyardError, CalibrationError, DataError, UsageError

if TYPE_CHECKING:
    from breakyard.calibration import Air, Calibration, Gravity, Plate, Plateaus, Point
    from breakyard.run import Run
    from breakyard.session.session import Session

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Known:
    """Points of a calibration and where they came from; run and plateaus are None for a table."""

    points: "tuple[Point, ...]"
    source: Path
    gain: int | None
    run: "Run | None" = None
    plateaus: "Plateaus | None" = None
    provenance: Mapping[str, str] = field(default_factory=dict)


def from_recording(path: Path, masses: str, mass_limit: float | None, gain: int | None) -> Known:
    """Pair the steady stretches of a recording with the masses, in the order they were hung. Raises: errors.py."""
    from breakyard.calibration import parse_loads, points_from_run

    loads = parse_loads(masses, mass_limit=mass_limit)
    run = load_counts(path)
    points, plateaus = _naming(path, lambda: points_from_run(run, loads))
    return Known(
        points,
        path,
        gain_of(run, gain),
        run,
        plateaus,
        {"recording": path.name, "masses": masses, **identity_of(run)},
    )


def from_table(path: Path, mass_limit: float | None, gain: int | None) -> Known:
    """Read points from a CSV file. Raises: errors.py."""
    from breakyard.formats.read_points import read_points

    return Known(
        read_points(path, mass_limit=mass_limit),
        path,
        128 if gain is None else gain,
        None,
        None,
        {"points": path.name},
    )


def from_second_cell(path: Path, other: Path, reference: Path, steps: int | None, gain: int | None) -> Known:
    """Points from a calibrated cell in the same line: both recordings show the same steps. Raises: errors.py."""
    from breakyard.calibration import find_plateaus, transfer_points

    made = read_calibration_file(reference)
    run, shown = load_counts(path), load_counts(other)
    _, told = gain_of(shown, None), made.gain
    if shown.converter is not None and told is not None and shown.converter.gain != told:
        raise UsageError(
            f"{other.name} was recorded with gain {shown.converter.gain}, {reference.name} holds for gain {told}: "
            "give the reference cell's own calibration"
        )

    def points() -> "tuple[tuple[Point, ...], Plateaus]":
        first = find_plateaus(shown.time_s, shown.counts, usable=shown.usable, expected=steps)
        second = find_plateaus(run.time_s, run.counts, usable=run.usable, expected=len(first.found))
        return transfer_points(made, first.found, second.found), second

    paired, plateaus = _naming(path, points)
    about = {
        "recording": path.name,
        "reference recording": other.name,
        "reference calibration": f"{made.name} {made.content_hash}",
    }
    return Known(paired, path, gain_of(run, gain), run, plateaus, about | identity_of(run))


def load_counts(path: Path) -> "Run":
    """Read a run file, or an imported recording of counts. Raises: DataError."""
    from breakyard.cli.inputs import load_run

    if not path.exists():
        raise DataError(f"{path}: there is no such file")
    if path.suffix.lower() in (".csv", ".txt", ".tsv"):
        from breakyard.formats.read_csv import read_csv
        from breakyard.run import run_from_columns

        recording = read_csv(path)
        if recording.counts is None:
            raise DataError(
                f"{path}: this recording holds loads, not counts; a calibration is made from the converter's counts"
            )
        return run_from_columns(recording.time_s, recording.counts, name=path.stem)
    try:
        return load_run(path)
    except DataError as error:
        # The run's name is the file's without its ending; people need the whole.
        raise DataError(
            f"{path.name}: {str(error).removeprefix(f'{path.stem}: ').removeprefix(f'{path}: ')}"
        ) from None


def read_calibration_file(path: Path) -> "Calibration":
    """Read a calibration file, naming it in errors. Raises: DataError."""
    from breakyard.calibration import Calibration
    from breakyard.session.files.calibrations import read_calibration

    try:
        return Calibration.from_json(read_calibration(path))
    except DataError as error:
        text = str(error)
        raise DataError(text if str(path) in text else f"{path}: {text}") from None


def gain_of(run: "Run", stated: int | None) -> int | None:
    """The gain a run was recorded with; `stated` must not contradict it. Raises: UsageError."""
    told = None if run.converter is None else run.converter.gain
    if stated is not None and told is not None and stated != told:
        raise UsageError(f"the recording says gain {told}, --gain says {stated}: leave out --gain")
    return stated if told is None else told


def identity_of(run: "Run") -> dict[str, str]:
    """Which logger recorded a run, for the provenance; empty where the run does not tell."""
    if run.identity is None:
        return {}
    return {"logger": run.identity.serial.hex(), "firmware": run.identity.firmware}


def check_ways(
    recording: Path | None,
    masses: str | None,
    points: Path | None,
    transfer: Path | None,
    reference: Path | None,
) -> None:
    """One of three ways in, complete. Raises: UsageError."""
    if points is not None:
        if recording is not None or masses is not None or transfer is not None:
            raise UsageError("--points is a way of its own: leave out the recording, --masses and --transfer")
        return
    if recording is None:
        raise UsageError("give the recording of the known masses, or a table of points with --points")
    if transfer is not None:
        if masses is not None:
            raise UsageError("give either --masses or --transfer: one of them tells the known loads")
        if reference is None:
            raise UsageError("--transfer needs --reference: the calibration of the second cell")
        return
    if reference is not None:
        raise UsageError("--reference belongs to --transfer, the recording of the second cell")
    if masses is None:
        raise UsageError('say what hung, in order, with --masses "0, 20 kg, 40 kg, 20 kg, 0"')


def degree_from(text: str) -> int | None:
    """The degree asked for, None for "auto". Raises: UsageError."""
    if text.strip().lower() == "auto":
        return None
    if text.strip() in ("1", "2", "3"):
        return int(text)
    raise UsageError(f'--degree "{text}": use auto, 1, 2 or 3')


def gravity_from(latitude: float | None, height: float | None, stated: float | None) -> "Gravity | None":
    """Gravity as far as the options tell. Raises: UsageError."""
    from breakyard.calibration import gravity_at, stated_gravity

    if stated is not None:
        if latitude is not None:
            raise UsageError("give either --gravity or --latitude, not both")
        return stated_gravity(stated)
    if latitude is not None:
        return gravity_at(latitude, height or 0.0)
    if height is not None:
        raise UsageError("--height alone does not give gravity; add --latitude")
    return None


def air_from(weather: str | None, density: float | None) -> "Air | None":
    """Air as far as the options tell; `weather` is "12 C, 1013 hPa, 60 %". Raises: UsageError."""
    from breakyard.calibration import air_from_weather, stated_air

    if density is not None:
        if weather is not None:
            raise UsageError("give either --weather or --air-density, not both")
        return stated_air(density)
    return None if weather is None else air_from_weather(*_weather(weather))


def temperature_from(stated: float | None, weather: str | None) -> float | None:
    """The cell's temperature: as stated, else that of the air around it. Raises: UsageError."""
    return _weather(weather)[0] if stated is None and weather is not None else stated


def _weather(text: str) -> tuple[float, float, float]:
    """Temperature, pressure and humidity from "12 C, 1013 hPa, 60 %". Raises: UsageError."""
    import re

    number = r"(-?[0-9]+(?:[.,][0-9]+)?)"
    found = re.fullmatch(rf"\s*{number}\s*°?\s*C\s*[,;]\s*{number}\s*hPa\s*[,;]\s*{number}\s*%\s*", text)
    if found is None:
        raise UsageError(
            f'--weather "{text}": write temperature, pressure and humidity as "12 C, 1013 hPa, 60 %"'
        )
    temperature, pressure, humidity = (float(part.replace(",", ".")) for part in found.groups())
    return temperature, pressure, humidity


def plate_from(
    capacity: str | None, percent: Mapping[str, float | None], rated_output: float | None
) -> "Plate | None":
    """The cell's plate and sheet; `percent` holds ratings by their field, in percent of the capacity.

    Raises: UsageError, UnitError, CalibrationError.
    """
    from breakyard.calibration import Plate
    from breakyard.units import parse_force

    if capacity is None:
        if rated_output is not None or any(value is not None for value in percent.values()):
            raise UsageError('the cell\'s ratings are fractions of its capacity; add --capacity "1000 kgf"')
        return None
    ratings = {name: None if value is None else value / 100 for name, value in percent.items()}
    return Plate(capacity_n=parse_force(capacity), rated_output_mv_v=rated_output, **ratings)  # type: ignore[arg-type]


def previous_calibration(
    wanted: Path | None, session: "Session | None", gain: int | None
) -> "Calibration | None":
    """The calibration to compare a new one with: the one named, else the session's latest for the same gain.

    Raises: DataError for a named one that cannot be read; others in the session that cannot be read are left out.
    """
    if wanted is not None:
        named = wanted if wanted.exists() or session is None else session.calibration(wanted.stem)
        return read_calibration_file(named)
    if session is None:
        return None
    found = []
    for path in session.calibrations():
        try:
            made = read_calibration_file(path)
        except BreakyardError:
            continue
        if made.gain == gain:
            found.append(made)
    return max(found, key=lambda made: made.created, default=None)


def _naming(path: Path, work: Callable[[], _T]) -> _T:
    try:
        return work()
    except CalibrationError as error:
        raise CalibrationError(f"{path.name}: {error}") from None
