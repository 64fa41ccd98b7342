"""Read pulls -> Comparison: who is in which group, and what a load is divided by."""

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

from breakyard.cli.reading import Read
from breakyard.errors import DataError, UsageError

if TYPE_CHECKING:
    from breakyard.comparison import Comparison, Quantity
    from breakyard.session.files.specimens import Specimen

MASS_WORDS: Final = ("mass", "gram", "grams", "g", "weight")


def share(text: str) -> float:
    """Read a share: "10%", "10 %", "0.1", "0,1". Raises: UsageError; "10" alone could mean either."""
    cleaned = text.strip().replace(",", ".")
    percent = cleaned.endswith("%")
    try:
        value = float(cleaned.rstrip("% "))
    except ValueError:
        raise UsageError(f'"{text}" is not a share; write it as 10% or 0.1') from None
    if not math.isfinite(value) or value < 0.0 or (value >= 1.0 and not percent):
        raise UsageError(f'"{text}" is not a share; write it as 10% or 0.1')
    return value / 100.0 if percent else value


def compare_reads(
    reads: Sequence[Read],
    *,
    of: "Quantity" = "strength",
    per: str | None = None,
    reference: str | None = None,
    matters: float = 0.10,
    coverage: float = 0.95,
) -> "Comparison":
    """Compare the groups of pulls that were read; what cannot take part is named with the reason.

    per: "mass" for newtons per gram, or the name of a column of specimens.csv.
    Raises: DataError if no pull can take part; UsageError for an unknown group or column.
    """
    from breakyard.comparison import Compared, compare, observe

    table = _specimens(reads)
    several = len({read.pull.session.root for read in reads if read.pull.session is not None}) > 1
    column = None if per is None else _column(per, table)
    observations, left_out = [], []
    # In the order of the table of specimens, which is the order people gave the groups; pulls are in random order.
    place = {key: number for number, key in enumerate(table)}
    for read in sorted(reads, key=lambda read: place.get(_key(read), len(place))):
        name = read.pull.specimen or read.pull.name
        if read.summary is None:
            left_out.append(f"{read.pull.name}: {read.problem}")
            continue
        if not read.pull.group:
            left_out.append(f"{name}: {_no_group(read)}")
            continue
        divisor = None
        if column is not None:
            divisor = column(table[_key(read)])
            if divisor is None:
                left_out.append(f"{name}: no {per} in specimens.csv")
                continue
        shown = f"{read.pull.session.root.name}/{name}" if several and read.pull.session is not None else name
        try:
            one = observe(read.summary, group=read.pull.group, specimen=shown, of=of, per=divisor)
        except DataError as error:
            left_out.append(str(error))
            continue
        if one is None:
            left_out.append(f"{name}: nothing settled after its peak")
        else:
            observations.append(one)
    if not observations:
        why = f" ({left_out[0]})" if left_out else ""
        raise DataError(f"no pull can be compared{why}; each run needs its specimen, each specimen its group")
    return compare(
        observations,
        coverage=coverage,
        matters=matters,
        reference=reference,
        quantity=Compared(of, per, "N" if per is None else f"N/{_unit_of(per)}"),
        left_out=left_out,
    )


def _no_group(read: Read) -> str:
    if read.pull.part is not None and not read.pull.specimen:
        notes = f"{read.pull.path.stem}.toml"
        return f'one of several pulls in a recording; list their specimens in {notes}: specimens = ["..."]'
    return "it has no group; give it one in specimens.csv"


def _key(read: Read) -> tuple[str, str]:
    root = "" if read.pull.session is None else str(read.pull.session.root)
    return root, read.pull.specimen


def _specimens(reads: Sequence[Read]) -> "dict[tuple[str, str], Specimen]":
    sessions = {
        str(read.pull.session.root): read.pull.session for read in reads if read.pull.session is not None
    }
    return {(root, one.id): one for root, session in sessions.items() for one in session.specimens()}


def _column(per: str, table: "dict[tuple[str, str], Specimen]") -> "Callable[[Specimen], float | None]":
    if per.lower() in MASS_WORDS:
        return lambda one: None if one.mass_kg is None else 1000.0 * one.mass_kg
    names = sorted({name for one in table.values() for name in one.more})
    if per not in names:
        raise UsageError(
            f'specimens.csv has no column "{per}" to divide by; there is {", ".join(["mass", *names])}'
        )
    return lambda one: _number(one.more.get(per, ""), f"{one.id}, {per}")


def _number(text: str, where: str) -> float | None:
    if not text.strip():
        return None
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise DataError(f'specimens.csv, {where}: "{text}" is not a number') from None
    if not 0.0 < value < math.inf:
        raise DataError(
            f'specimens.csv, {where}: a load cannot be divided by "{text}"; give a number above 0'
        )
    return value


def _unit_of(per: str) -> str:
    """The unit of a column: the last word of "area_mm2" or "price [EUR]"; the name itself where it has only one."""
    if per.lower() in MASS_WORDS:
        return "g"
    return per.translate(str.maketrans("[]()_", "     ")).split()[-1]
