"""Which column is which, from header texts such as "Load [kN]", "Kraft (N)", "time/s", "load_n".

A unit says more than a name, a name more than nothing; where two columns fit one role the choice is
left to the person. Header words of the common European languages are known, Chinese and Japanese ones too.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from breakyard.errors import UnitError
from breakyard.formats.recording import (
    FILE_FORCES,
    find_force_unit,
    find_length_unit,
    find_time_unit,
    means_counts,
)
from breakyard.units import mass_unit


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_TIME_WORDS: Final = _words(
    "t time times timestamp elapsed zeit messzeit prüfzeit pruefzeit testzeit temps tiempo tempo tijd tid 时间 時間"
)
_LOAD_WORDS: Final = _words(
    "f load loads force forces pull tension weight kraft last zugkraft prüfkraft pruefkraft standardkraft "
    "messkraft gewicht charge effort carga fuerza carico forza kracht belasting kraften força forca "
    "massa 力 载荷 荷重 試験力 试验力 拉力"
)
_COUNT_WORDS: Final = _words("count counts raw adc digits rohwert rohwerte")
_EXTENSION_WORDS: Final = _words(
    "extension displacement elongation stroke crosshead deflection travel weg standardweg traversenweg "
    "verlängerung verlaengerung verschiebung allongement déplacement deplacement desplazamiento alargamiento "
    "spostamento allungamento verplaatsing deslocamento 位移 変位 伸长"
)
_OTHER_UNITS: Final = _words(
    "pa hpa kpa mpa gpa bar mbar psi ksi msi % ‰ strain µε ue v mv uv µv a ma hz khz rpm 1 k c f °c ºc °f deg ° rad "
    "nm nmm tex den j mj w"
)
"""Units of what else stands in such tables, in lower case: a row that holds them beside known units is one of units."""
_COMPOSED: Final = re.compile(r"[·⋅.*/^²³⁻¹]|-(?=1)|(?<=m)[23]")
_BRACKETED: Final = re.compile(r"(?P<name>.*?)\s*[\[({<]\s*(?P<unit>[^\])}>]*?)\s*[\])}>]\s*")
_UNIT_WITHIN: Final = re.compile(r"(?P<name>.*?)\s*[\[(]\s*(?P<unit>[^\])]*?)\s*[\])]\s*(?P<rest>\S.*)")
_WHOLLY_BRACKETED: Final = re.compile(r"\[[^\[\]]*\]|\([^()]*\)")
_SLASHED: Final = re.compile(r"(?P<name>.*\S)\s*/\s*(?P<unit>[^\s/]+)")
_IN: Final = re.compile(r"(?P<name>.*\S)\s+in\s+(?P<unit>\S+)", re.IGNORECASE)
_TAILED: Final = re.compile(r"(?P<name>.*[^\s_,:])[\s_,:]+(?P<unit>[^\s_,:]+)")
_WORDS: Final = re.compile(r"[^\W\d_]+")


def known_unit(text: str) -> bool:
    """Whether a text is a unit of time, length, force or mass, or says "counts"."""
    if find_time_unit(text) or find_length_unit(text) or means_counts(text):
        return True
    return is_force(text) or is_mass(text)


def is_mass(text: str) -> bool:
    """Whether a unit is one of mass ("t" and "g" included)."""
    try:
        mass_unit(text)
    except UnitError:
        return False
    return True


def is_force(text: str) -> bool:
    """Whether a unit is one of force."""
    return find_force_unit(text) is not None


def split_unit(text: str) -> tuple[str, str]:
    """Split a header text into its name and its unit ("" where it names none).

    A bracket at the end always holds the unit; in a bracket elsewhere ("[s] Time", "Force (N) Run 1"), and behind "/",
    "in" or a blank, only a known unit counts as one.
    """
    text = text.strip()
    if found := _BRACKETED.fullmatch(text):
        return found["name"], found["unit"]
    if (found := _UNIT_WITHIN.fullmatch(text)) and known_unit(found["unit"]):
        return f"{found['name']} {found['rest']}".strip(), found["unit"]
    for pattern in (_SLASHED, _IN, _TAILED):
        found = pattern.fullmatch(text)
        if found and known_unit(found["unit"]):
            return found["name"], found["unit"]
    return text, ""


@dataclass(frozen=True, slots=True)
class ColumnHeader:
    """What stands above one column."""

    number: int
    text: str
    """As in the file, name and unit row joined; "" where nothing stands above the column."""
    name: str
    unit: str

    @property
    def words(self) -> frozenset[str]:
        """Lower-case words of the name."""
        return frozenset(word.lower() for word in _WORDS.findall(self.name))

    @property
    def names_time(self) -> bool:
        """Whether the name says time."""
        return bool(self.words & _TIME_WORDS)

    @property
    def names_load(self) -> bool:
        """Whether the name says load."""
        return bool(self.words & _LOAD_WORDS)

    @property
    def bare_force(self) -> str | None:
        """The unit of force that is all that the header says, as in "time,kgf"."""
        if self.unit or not (self.name in FILE_FORCES or len(self.name) > 1):
            return None
        return find_force_unit(self.name)

    @property
    def is_time(self) -> bool:
        """A time by its unit, or by its name where the unit does not speak against it."""
        if self.unit:
            return find_time_unit(self.unit) is not None
        return self.names_time or find_time_unit(self.name) is not None

    @property
    def is_load(self) -> bool:
        """A load by its unit of force, or by its name with a mass, with counts or with no unit."""
        if self.is_time:
            return False
        if is_force(self.unit) or self.bare_force:
            return True
        fits = not self.unit or not known_unit(self.unit) or is_mass(self.unit)
        return (self.names_load and fits) or self.is_counts

    @property
    def is_counts(self) -> bool:
        """Raw counts by unit or by name."""
        if self.unit:
            return means_counts(self.unit)
        return bool(self.words & _COUNT_WORDS)

    @property
    def is_extension(self) -> bool:
        """A length, with a name or without one."""
        if self.unit:
            return find_length_unit(self.unit) is not None and not self.is_time
        return bool(self.words & _EXTENSION_WORDS)

    def __str__(self) -> str:
        """The column as a person finds it."""
        return f'"{self.text}"' if self.text else f"{self.number}"


def read_headers(rows: Sequence[Sequence[str]], columns: int, valued: int = 0) -> tuple[ColumnHeader, ...]:
    """Read what stands above `columns` columns, `valued` of which hold numbers or times of day.

    rows: the header rows, split into fields.

    The names are in the lowest row that names a time or a load, else in the lowest row of the right
    width; a row of nothing but units below it belongs to it. A row with fewer fields than half of the valued columns
    is none: programs write pairs of a key and its value above their tables.
    """
    wide = [
        list(row) + [""] * (columns - len(row))
        for row in rows
        if min(2, columns) <= len(row) <= columns and 2 * sum(map(bool, row)) >= valued
    ]
    names, units = [""] * columns, [""] * columns
    for at in range(len(wide) - 1, -1, -1):
        if not _only_units(wide[at]) and any(_speaks(text) for text in wide[at]):
            names = wide[at]
            if at + 1 < len(wide) and _only_units(wide[at + 1]):
                units = wide[at + 1]
            break
    else:
        named = [row for row in wide if not _only_units(row)] or wide
        if named and sum(map(bool, named[-1])) >= min(valued, columns - 1):
            names = named[-1]
            if wide.index(named[-1]) + 1 < len(wide) and _only_units(wide[wide.index(named[-1]) + 1]):
                units = wide[wide.index(named[-1]) + 1]
    headers = []
    for number, (above, below) in enumerate(zip(names, units, strict=True), start=1):
        text, unit_below = above.strip(), below.strip("[](){}<> ")
        name, unit = split_unit(text)
        if unit_below:
            name, unit = text, unit_below
            text = f"{text} [{unit_below}]"
        headers.append(ColumnHeader(number=number, text=text.strip(), name=name, unit=unit))
    return tuple(headers)


def _is_unit(text: str) -> bool:
    """Whether a text is a unit of anything, as "MPa", "kN·mm", "mm/min" or "N/mm²"."""
    parts = [part.strip() for part in _COMPOSED.split(text)]
    return all(known_unit(part) or part.lower() in _OTHER_UNITS for part in parts if part)


def _only_units(row: Sequence[str]) -> bool:
    """Whether a row holds nothing but units, one of them known; in brackets it may be any."""
    cells = [text.strip() for text in row if text.strip(" -")]
    bare = [text.strip("[](){}<> ") for text in cells]
    return any(map(known_unit, bare)) and all(
        not unit or _is_unit(unit) or _WHOLLY_BRACKETED.fullmatch(text)
        for text, unit in zip(cells, bare, strict=True)
    )


def _speaks(text: str) -> bool:
    header = ColumnHeader(number=1, text=text, name=split_unit(text)[0], unit=split_unit(text)[1])
    return bool(text.strip()) and (header.is_time or header.is_load or header.is_extension)
