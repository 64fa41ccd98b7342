"""Known loads as people type them: "3 x 20 kg", "45 lb", "20 L water at 12 C + 0.9 kg".

Grammar of one load:

    load   = "0" | item { "+" item } [ "via" RATIO[":1"] [ "+-" NUMBER ["%"] ] ]
    item   = [ COUNT "x" ] NUMBER UNIT { detail }
    detail = material | "at" NUMBER "C" | "[" name "]" | "+-" NUMBER [UNIT | "%"] ["(k=2)"]

"+-" is a limit (a rectangle) unless "(k=2)" follows. Pieces of equal text or equal [name] are taken as
the same piece wherever they occur: "20 kg" and later "2 x 20 kg" share their first piece.

How the masses are known (`Basis`) decides what stands for a limit that nobody stated, and whether limits are common
to all pieces (one scale) or each piece's own (certificates).
"""

import math
import re
from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from breakyard.calibration.known_loads import (
    ASSUMED_SOURCE,
    COMMON_SOURCE,
    EACH,
    SCALE_SOURCE,
    UNSTATED_LIMITS,
    Basis,
    KnownLoad,
    Piece,
)
from breakyard.calibration.weight import CONVENTIONAL_DENSITY, DENSITIES, density_of, water_density
from breakyard.errors import UnitError
from breakyard.units import mass_unit, to_kilograms

_NUMBER: Final = r"[0-9]*[.,]?[0-9]+(?:[eE]-?[0-9]+)?"
_PLUS: Final = re.compile(r"\+(?![-/])")
_VIA: Final = re.compile(
    rf"\s*\bvia\s+({_NUMBER})\s*(?::\s*1)?\s*(?:\+-\s*({_NUMBER})\s*(%)?)?\s*$", re.IGNORECASE
)
_ITEM: Final = re.compile(rf"\s*(?:([0-9]+)\s*[xX×*]\s*)?({_NUMBER})\s*([A-Za-z]+)\b\s*(.*)", re.DOTALL)
_NAME: Final = re.compile(r"\[([^\[\]]+)\]")
_LIMIT: Final = re.compile(rf"\+-\s*({_NUMBER})\s*(%|[A-Za-z]+)?\s*(\(\s*k\s*=\s*2\s*\))?")
_AT: Final = re.compile(rf"\bat\s+({_NUMBER})\s*(?:°\s*)?C\b", re.IGNORECASE)
_LITRES: Final = {"l": 1.0, "litre": 1.0, "litres": 1.0, "liter": 1.0, "liters": 1.0, "ml": 0.001}

ASSUMED_VOLUME_LIMIT: Final = 0.01
"""A volume whose uncertainty nobody stated is taken to be within 1 % (a marked bucket or can)."""
UNKNOWN_WATER: Final = (998.0, 2.0)
"""kg/m3 and limit for water of unstated temperature, 4 to 30 C."""
TAP_WATER_LIMIT: Final = 0.0005
"""What is dissolved in tap water adds at most this part to its density."""
ASSUMED_RATIO_LIMIT: Final = 0.01
"""1 mm on a short arm of 100 mm."""


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def parse_load(text: str, *, mass_limit: float | None = None, known: Basis | None = None) -> KnownLoad:
    """Read one known load. `mass_limit` is a relative limit for all masses without their own, `known` how the masses
    are known (None counts as "marked" for those that state nothing, and as a certificate for those that do).

    Raises: UnitError, one line, when it cannot be read or a force stands where a mass belongs.
    """
    whole = text.strip()
    cleaned = whole.replace("±", "+-").replace("+/-", "+-")
    if cleaned.lower() in ("0", "zero", "empty", "nothing"):
        return KnownLoad("0")
    ratio, ratio_standard, ratio_assumed = 1.0, 0.0, False
    if match := _VIA.search(cleaned):
        cleaned = cleaned[: match.start()]
        ratio = _number(match[1])
        ratio_assumed = match[2] is None
        limit = ASSUMED_RATIO_LIMIT * ratio if match[2] is None else _number(match[2])
        if match[3]:
            limit *= ratio / 100.0
        ratio_standard = limit / math.sqrt(3.0)
        if ratio <= 0.0:
            raise UnitError(f'"{whole}": the ratio of a lever must be above zero')
    pieces: list[Piece] = []
    taken: dict[str, int] = {}
    for item in _PLUS.split(cleaned):
        pieces.extend(_pieces(item, whole, mass_limit, known, taken))
    if math.fsum(piece.kilograms for piece in pieces) == 0.0:
        return KnownLoad("0")
    return KnownLoad(whole, tuple(pieces), ratio, ratio_standard, ratio_assumed)


def parse_loads(
    text: str, *, mass_limit: float | None = None, known: Basis | None = None
) -> tuple[KnownLoad, ...]:
    """Read a sequence of loads in the order they were hung: "0, 20 kg, 2 x 20 kg, 20 kg, 0".

    Loads are parted by ";" or, where there is none, by commas; a comma between two digits is a decimal
    comma ("20,5 kg"), and refused where it could as well part two loads ("0,20 kg"). Raises: UnitError that names
    the load.
    """
    parts = text.split(";") if ";" in text else re.split(r",(?![0-9])|(?<![0-9]),", text)
    if ";" not in text:
        for part in parts:
            _refuse_ambiguous(part.strip())
    loads = [part.strip() for part in parts]
    if loads and not loads[-1]:
        loads.pop()
    if not loads:
        raise UnitError(
            'no known loads given: write them in the order they were hung, as "0, 20 kg, 40 kg, 20 kg, 0"'
        )
    return tuple(_numbered(index, load, mass_limit, known) for index, load in enumerate(loads, start=1))


def _refuse_ambiguous(part: str) -> None:
    """Raises: UnitError for a comma between digits that leaves a whole load on either side."""
    for comma in re.finditer(r"(?<=[0-9]),(?=[0-9])", part):
        left, right = part[: comma.start()].strip(), part[comma.end() :].strip()
        if _readable(left) and _readable(right):
            raise UnitError(
                f'"{part}" can be read in two ways: as one load with a decimal comma, or as "{left}" and "{right}"; '
                'part the loads with ";", as "0; 20 kg; 40 kg", or with a comma and a space'
            )


def _readable(text: str) -> bool:
    try:
        parse_load(text)
    except UnitError:
        return False
    return True


def _numbered(index: int, load: str, mass_limit: float | None, known: Basis | None) -> KnownLoad:
    try:
        return parse_load(load, mass_limit=mass_limit, known=known)
    except UnitError as error:
        raise UnitError(f"load {index} of the sequence: {error}") from None


def _pieces(
    item: str, whole: str, mass_limit: float | None, known: Basis | None, taken: dict[str, int]
) -> Iterable[Piece]:
    match = _ITEM.fullmatch(item)
    if match is None:
        hint = "a number needs a unit" if re.fullmatch(rf"\s*{_NUMBER}\s*", item) else "it cannot be read"
        raise UnitError(
            f'"{whole}": {hint}; write a known load as in "20 kg", "3 x 20 kg", "45 lb" '
            'or "20 L water at 12 C + 0.9 kg"'
        )
    count, value, unit, rest = int(match[1] or 1), _number(match[2]), match[3], match[4]
    if count > 1000 or not math.isfinite(value):
        raise UnitError(f'"{whole}" is too large')
    label = _NAME.search(rest)
    rest = _NAME.sub(" ", rest)
    limit = _LIMIT.search(rest)
    rest = _LIMIT.sub(" ", rest, count=1)
    at = _AT.search(rest)
    words = _AT.sub(" ", rest).split()
    if words and words[0].lower() == "of":
        words = words[1:]
    material = " ".join(words).lower()
    volume = unit.lower() in _LITRES
    if volume:
        piece = _water(value, unit, material, at, limit, whole)
    else:
        piece = _mass(value, unit, material, limit, whole, mass_limit, known)
        if at:
            raise UnitError(
                f'"{whole}": a temperature belongs to water by volume, as in "20 L water at 12 C"'
            )
    nominal = f"mass [{label[1].strip()}]" if label else f"{piece.source} {match[2]} {unit}"
    for _ in range(count):
        taken[nominal] = taken.get(nominal, 0) + 1
        source = (
            f"{nominal} no. {taken[nominal]}" if taken[nominal] > 1 or count > 1 or not label else nominal
        )
        common = _common(piece, limit is not None, mass_limit, known)
        if common:
            each = f"{common}{EACH}{nominal.removeprefix('mass ')} no. {taken[nominal]}"
            yield replace(piece, source=common, each=each)
        else:
            yield replace(piece, source=source)


def _common(piece: Piece, stated: bool, mass_limit: float | None, known: Basis | None) -> str:
    """The source that a mass may share with the others; none for a certificate, for water, and for "+-" alone."""
    if piece.source != "mass":
        return ""
    if stated:
        return SCALE_SOURCE if known == "weighed" else ""
    return ASSUMED_SOURCE if mass_limit is None else COMMON_SOURCE


def _limit_to_standard(limit: re.Match[str], value: float, unit: str, whole: str) -> float:
    """Standard uncertainty in the item's own unit, from "+- 0.1 kg", "+- 1 %", "+- 0.1"."""
    size = _number(limit[1])
    given = limit[2]
    if given == "%":
        size *= value / 100.0
    elif given and unit.lower() in _LITRES:
        if given.lower() not in _LITRES:
            raise UnitError(f'"{whole}": the uncertainty of a volume is a volume or a percentage')
        size *= _LITRES[given.lower()] / _LITRES[unit.lower()]
    elif given:
        size = to_kilograms(size, given) / to_kilograms(1.0, unit)
    return size / 2.0 if limit[3] else size / math.sqrt(3.0)


def _mass(
    value: float,
    unit: str,
    material: str,
    limit: re.Match[str] | None,
    whole: str,
    mass_limit: float | None,
    known: Basis | None,
) -> Piece:
    kilograms = to_kilograms(value, mass_unit(unit))
    if material and material not in DENSITIES:
        raise UnitError(
            f'"{whole}": unknown material "{material}"; use one of {", ".join(DENSITIES)}, or none'
        )
    density = density_of(material) if material else CONVENTIONAL_DENSITY
    if limit is not None:
        standard = to_kilograms(_limit_to_standard(limit, value, unit, whole), unit)
        return Piece(kilograms, standard, "mass", density, limited=not limit[3])
    relative = UNSTATED_LIMITS[known or "marked"] if mass_limit is None else mass_limit
    standard = kilograms * relative / math.sqrt(3.0)
    if mass_limit is None:
        return Piece(kilograms, standard, "mass", density, assumed=True, limited=True)
    return Piece(kilograms, standard, "mass", density, limited=True)


def _water(
    value: float,
    unit: str,
    material: str,
    at: re.Match[str] | None,
    limit: re.Match[str] | None,
    whole: str,
) -> Piece:
    if material != "water":
        raise UnitError(f'"{whole}": litres are known here for water only, as in "20 L water at 12 C"')
    if at is None:
        density, density_limit = UNKNOWN_WATER
    else:
        density, density_limit = water_density(_number(at[1])), 0.5
    density_relative = math.hypot(density_limit / density, TAP_WATER_LIMIT) / math.sqrt(3.0)
    if limit is None:
        volume_relative = ASSUMED_VOLUME_LIMIT / math.sqrt(3.0)
    else:
        volume_relative = _limit_to_standard(limit, value, unit, whole) / value if value else 0.0
    kilograms = value * _LITRES[unit.lower()] * density / 1000.0
    standard = kilograms * math.hypot(volume_relative, density_relative)
    return Piece(kilograms, standard, "water", density, assumed=limit is None, limited=limit is None)
