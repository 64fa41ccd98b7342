"""The table [rig] of session.toml, as plain values, to a Rig. Every mistake is one line that says where.

[rig]
expected = "300..500 kgf"
loading = "winch"

[[rig.element]]
name = "bow shackle"
kind = "shackle"
wll = "2 tf"

[[rig.line]]
length_m = 6
material = "hmpe"

[[rig.anchor]]
name = "van"
kind = "vehicle"
mass = "2100 kg"
surface = "dry concrete"
"""

from collections.abc import Callable, Mapping, Sequence
from difflib import get_close_matches
from typing import Any, Final, TypeVar

from breakyard.errors import BreakyardError, DataError, UnitError, UsageError
from breakyard.plan.anchors import BRAKED, SURFACES, Anchor
from breakyard.plan.between import blocks_between
from breakyard.plan.elements import KINDS, Element
from breakyard.plan.energy import LineStretch
from breakyard.plan.quantities import parse_force_range, parse_stiffness
from breakyard.plan.rig import Rig
from breakyard.plan.rules import DEFAULT_MARGIN, LOADINGS, Loading
from breakyard.units import parse_force, parse_mass

T = TypeVar("T")

_KEYS: Final = {
    "rig": (
        *("specimen", "expected", "loading", "dynamic_factor", "margin", "paid_out_m", "stop", "notes"),
        *("element", "line", "anchor"),
    ),
    "element": (
        *(
            "name",
            "kind",
            "wll",
            "breaking",
            "static",
            "capacity",
            "link",
            "safe_overload",
            "ultimate",
            "design_factor",
            "ends",
        ),
        *("efficiency", "side_load_deg", "hitch", "legs", "leg_angle_deg", "turn_deg", "share", "notes"),
        *("shoulder", "between", "friction", "mass"),
    ),
    "line": ("length_m", "material", "stretch", "stiffness", "breaking", "name", "notes"),
    "anchor": (
        *("name", "kind", "mass", "surface", "friction", "braked", "slope_deg", "rise_deg", "role", "share"),
        *("attach_height_m", "base_m", "notes"),
    ),
}


def find_loading(name: str) -> Loading:
    """The loading of this name ("winch"). Raises: UsageError."""
    if found := LOADINGS.get(name.strip().lower().replace("-", " ").replace("_", " ")):
        return found
    raise UsageError(f'unknown loading "{name}"; use one of {", ".join(LOADINGS)}')


def rig_from_table(
    table: Mapping[str, Any],
    *,
    where: str = "session.toml",
    expected_n: tuple[float, float] | None = None,
    loading: Loading | None = None,
    margin: float | None = None,
    stop_n: float | None = None,
) -> Rig:
    """Build a Rig from the plain values of [rig]; the other arguments go before what it says.

    Raises: DataError, UnitError or UsageError with `where`, the part and the key in one line.
    """
    reader = _Reader(table, f"{where}: [rig]", _KEYS["rig"])
    blocks_between(table, where=where)  # its values are looked at here, and used when a pull is read
    if expected_n is None:
        if "expected" not in table:
            raise DataError(f'{where}: [rig] says no expected peak; write expected = "300..500 kgf"')
        expected_n = reader.convert("expected", parse_force_range, (0.0, 0.0))
    elements = tuple(
        _element(_Reader(entry, f"{where}: rig.element {i}", _KEYS["element"]))
        for i, entry in enumerate(reader.tables("element"), 1)
    )
    lines = tuple(
        _line(_Reader(entry, f"{where}: rig.line {i}", _KEYS["line"]))
        for i, entry in enumerate(reader.tables("line"), 1)
    )
    anchors = tuple(
        _anchor(_Reader(entry, f"{where}: rig.anchor {i}", _KEYS["anchor"]))
        for i, entry in enumerate(reader.tables("anchor"), 1)
    )
    return reader.build(
        lambda: Rig(
            expected_low_n=expected_n[0],
            expected_high_n=expected_n[1],
            elements=elements,
            lines=lines,
            anchors=anchors,
            loading=loading or reader.convert("loading", find_loading, LOADINGS["winch"]),
            dynamic=reader.pair("dynamic_factor"),
            margin=margin if margin is not None else reader.number("margin", DEFAULT_MARGIN),
            paid_out_m=reader.optional_number("paid_out_m"),
            stop_n=stop_n if stop_n is not None else reader.force("stop"),
            specimen=reader.text("specimen", "specimen"),
        )
    )


def _element(reader: "_Reader") -> Element:
    kind = reader.text("kind", "")
    if not kind:
        raise DataError(f"{reader.where}: no kind; write kind = one of {', '.join(KINDS)}")
    wll_n, breaking_n = reader.force("wll"), reader.force("breaking")
    factor = reader.optional_number("design_factor")
    capacity_n = reader.force("capacity")
    if kind == "cell":
        if capacity_n is None and "wll" not in reader.table:
            raise DataError(f'{reader.where}: a cell needs its capacity, as capacity = "1 tf"')
        wll_n = capacity_n or wll_n
        factor = reader.optional_number("ultimate") or factor
    elif capacity_n is not None:
        raise DataError(f"{reader.where}: a capacity belongs to a cell; write wll or breaking")
    is_link = reader.table.get("link", False)
    if not isinstance(is_link, bool) or (is_link and kind != "cell"):
        raise DataError(f"{reader.where}: link = true belongs to a cell that takes the shackles' pins itself")
    between = reader.table.get("between")
    if between is not None and not (isinstance(between, bool) and kind == "block"):
        raise DataError(
            f"{reader.where}: between = true or false belongs to a block: whether it is between cell and specimen"
        )
    has_shoulder = reader.table.get("shoulder", False)
    if not isinstance(has_shoulder, bool) or (has_shoulder and kind != "eyebolt"):
        raise DataError(
            f"{reader.where}: shoulder = true belongs to an eyebolt whose shoulder sits on the face"
        )
    static_n = reader.force("static")
    if static_n is not None:
        if kind != "rod end" or breaking_n is not None:
            raise DataError(
                f"{reader.where}: static is the static load rating of a rod end, in place of breaking"
            )
        breaking_n = static_n
    return reader.build(
        lambda: Element(
            name=reader.text("name", kind),
            kind=kind,
            wll_n=wll_n,
            breaking_n=breaking_n,
            design_factor=factor,
            ends=reader.text("ends", "") or None,
            efficiency=reader.pair("efficiency"),
            side_load_deg=reader.number("side_load_deg", 0.0),
            hitch=reader.text("hitch", "straight"),  # type: ignore[arg-type]  # Element checks it
            legs=reader.whole("legs", 1),
            leg_angle_deg=reader.number("leg_angle_deg", 0.0),
            turn_deg=reader.number("turn_deg", 0.0),
            share=reader.number("share", 1.0),
            safe_overload=reader.number("safe_overload", 1.5),
            is_link=is_link,
            between=between,
            has_shoulder=has_shoulder,
        )
    )


def _line(reader: "_Reader") -> LineStretch:
    if "length_m" not in reader.table:
        raise DataError(f"{reader.where}: no length; write length_m = 6 (metres, without load)")
    return reader.build(
        lambda: LineStretch(
            length_m=reader.number("length_m", 0.0),
            material=reader.text("material", "unknown").lower(),
            stretch=reader.pair("stretch"),
            stiffness_n_per_m=reader.convert("stiffness", parse_stiffness, None),
            breaking_n=reader.force("breaking"),
        )
    )


def _anchor(reader: "_Reader") -> Anchor:
    kind = reader.text("kind", "")
    if "mass" not in reader.table:
        raise DataError(f'{reader.where}: no mass; write mass = "1800 kg"')
    friction, braked = reader.pair("friction"), reader.table.get("braked")
    assumed: list[str] = []
    if friction is None:
        surface = reader.text("surface", "unknown").lower()
        if surface not in SURFACES:
            raise DataError(f'{reader.where}: unknown surface "{surface}"; use one of {", ".join(SURFACES)}')
        friction = SURFACES[surface]
        assumed.append("friction" if surface != "unknown" else "friction, on a surface that is not stated")
    if isinstance(braked, str):
        if braked not in BRAKED:
            raise DataError(f'{reader.where}: braked is "all", "one axle" or a share such as [0.4, 0.6]')
        share = BRAKED[braked]
    else:
        share = reader.pair("braked") or (BRAKED["one axle"] if kind == "vehicle" else (1.0, 1.0))
        if kind == "vehicle" and braked is None:
            assumed.append("braked")
    return reader.build(
        lambda: Anchor(
            name=reader.text("name", kind or "anchor"),
            kind=kind,  # type: ignore[arg-type]  # Anchor checks it
            mass_kg=reader.convert("mass", parse_mass, 0.0),
            friction=friction,
            braked_share=share,
            slope_deg=reader.number("slope_deg", 0.0),
            rise_deg=reader.number("rise_deg", 0.0),
            role=reader.text("role", "hold"),  # type: ignore[arg-type]  # Anchor checks it
            share=reader.number("share", 1.0),
            attach_height_m=reader.optional_number("attach_height_m"),
            base_m=reader.optional_number("base_m"),
            assumed=tuple(assumed),
        )
    )


class _Reader:
    """Reads one table; every complaint names the table and the key."""

    def __init__(self, table: object, where: str, keys: Sequence[str]) -> None:
        if not isinstance(table, Mapping):
            raise DataError(f"{where}: expected a table of keys and values")
        name = table.get("name")
        self.table: Mapping[str, Any] = table
        self.where = f'{where} ("{name}")' if isinstance(name, str) and name else where
        for key in table:
            if key not in keys:
                near = get_close_matches(key, keys, 1)
                hint = f"; did you mean {near[0]}?" if near else f"; known: {', '.join(keys)}"
                raise DataError(f'{self.where}: unknown key "{key}"{hint}')

    def build(self, make: Callable[[], T]) -> T:
        """Call a constructor and put this place before what it complains of."""
        try:
            return make()
        except (UsageError, UnitError) as error:
            text = str(error)
            if text.startswith(self.where):
                raise
            named = text.removeprefix(f'"{self.table.get("name")}": ')
            raise type(error)(f"{self.where}: {named}") from None

    def text(self, key: str, default: str) -> str:
        value = self.table.get(key, default)
        if not isinstance(value, str):
            raise DataError(f'{self.where}, {key}: expected text in quotes, not "{value}"')
        return value.strip()

    def optional_number(self, key: str) -> float | None:
        if key not in self.table:
            return None
        value = self.table[key]
        if not _is_number(value):
            raise DataError(f'{self.where}, {key}: expected a number, not "{value}"')
        return float(value)

    def number(self, key: str, default: float) -> float:
        value = self.optional_number(key)
        return default if value is None else value

    def whole(self, key: str, default: int) -> int:
        value = self.number(key, default)
        if value != round(value):
            raise DataError(f"{self.where}, {key}: expected a whole number, not {value:g}")
        return round(value)

    def pair(self, key: str) -> tuple[float, float] | None:
        """One number, or two as a range [low, high]."""
        value = self.table.get(key)
        if isinstance(value, list):
            if len(value) != 2 or not all(_is_number(end) for end in value):
                raise DataError(f"{self.where}, {key}: a range is two numbers, as [0.4, 0.6]")
            return float(value[0]), float(value[1])
        number = self.optional_number(key)
        return None if number is None else (number, number)

    def force(self, key: str) -> float | None:
        """A force with its unit; a mass gets the offer of the force that is meant."""
        force_n: float | None = self.convert(key, parse_force, None)
        return force_n

    def convert(self, key: str, parse: Callable[[str], T], default: T | None) -> Any:
        if key not in self.table:
            return default
        value = self.table[key]
        if not isinstance(value, str):
            example = {"mass": "1800 kg", "stiffness": "20 kN/m", "expected": "300..500 kgf"}.get(key, "2 tf")
            raise DataError(f'{self.where}, {key}: write it with its unit, as "{example}", not {value}')
        try:
            return parse(value)
        except BreakyardError as error:
            stamped = ""
            if isinstance(error, UnitError) and "is a mass" in str(error):
                stamped = '; a part stamped "2 t" or "500 kg" is written "2 tf" or "500 kgf"'
            raise type(error)(f"{self.where}, {key}: {error}{stamped}") from None

    def tables(self, key: str) -> list[Any]:
        """An array of tables; a single table counts as one."""
        value = self.table.get(key, [])
        if isinstance(value, Mapping):
            return [value]
        if not isinstance(value, list):
            raise DataError(f"{self.where}, {key}: write [[rig.{key}]] and its keys below it")
        return value


def _is_number(value: object) -> bool:
    """A finite number of a size that means something; TOML has nan, inf and integers of any length."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15
