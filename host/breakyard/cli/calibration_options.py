"""Options of `breakyard calibrate` and `breakyard check` as values: which way in, place, air, plate."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from breakyard.errors import UsageError

if TYPE_CHECKING:
    from breakyard.calibration import Air, Gravity, Plate


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
            raise UsageError("give either --masses or --transfer: the known loads come from one of them")
        if reference is None:
            raise UsageError("--transfer needs --reference: the calibration of the second cell")
        return
    if reference is not None:
        raise UsageError("--reference belongs to --transfer, the recording of the second cell")
    if masses is None:
        raise UsageError('say what hung, in order, with --masses "0, 20 kg, 40 kg, 20 kg, 0"')


def states_no_limit(masses: str) -> bool:
    """Whether any mass in the text leaves open how well it is known. Raises: UnitError."""
    from breakyard.calibration import parse_loads

    loads = parse_loads(masses)
    return any(
        piece.assumed and not piece.source.startswith("water") for load in loads for piece in load.pieces
    )


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


def with_plate_of(
    cell: Mapping[str, Any],
    capacity: str | None,
    percent: Mapping[str, float | None],
    rated_output: float | None,
) -> tuple[str | None, dict[str, float | None], float | None]:
    """What options leave open, as the session's table [cell] has it."""
    names = {name: f"{name}_percent" for name in percent} | {"span_per_c": "span_percent_per_c"}
    kept = {name: cell.get(names[name]) if value is None else value for name, value in percent.items()}
    return (
        cell.get("capacity") if capacity is None else capacity,
        kept,
        cell.get("rated_output_mv_v") if rated_output is None else rated_output,
    )


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
