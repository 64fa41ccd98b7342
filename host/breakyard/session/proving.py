"""Which pulls were to hold a load for a time, and whether they did.

What was asked is said in the command, in the recording's notes, in the table of specimens (columns proof_load, with its
unit in the name or in the cell, and proof_s) or in session.toml; what is said nearest to the pull counts.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from breakyard.errors import BreakyardError, DataError, UnitError, UsageError
from breakyard.session.conditions import places_of, with_conditions
from breakyard.session.in_use import in_use_of
from breakyard.session.options import ReadOptions
from breakyard.session.reading import PullResult
from breakyard.session.recordings import Curves
from breakyard.units import force_unit, parse_force

if TYPE_CHECKING:
    from breakyard.pull.proof import Proof
    from breakyard.session.pulls import Pull
    from breakyard.session.session import Session

LOAD, TIME = "proof_load", "proof_s"
_MOST_S: Final = 1e7


@dataclass(frozen=True, slots=True)
class Asked:
    """A load that is to be held for a time."""

    load_n: float
    for_s: float


@dataclass(frozen=True, slots=True)
class Proved:
    """A pull with what was asked of it and whether it held that; or with the reason why it is not known."""

    result: PullResult
    asked: Asked
    proof: "Proof | None"
    problem: str = ""


def parse_duration(text: str) -> float:
    """Seconds of "60 s", "5 min", "60". Raises: UsageError."""
    from breakyard.formats.recording import TIME_UNITS, time_unit

    match = re.fullmatch(r"\s*([\d.,]+)\s*([A-Za-z]*)\s*", text)
    try:
        if match is None:
            raise ValueError
        value = float(match[1].replace(",", ".")) * (TIME_UNITS[time_unit(match[2])] if match[2] else 1.0)
    except (ValueError, KeyError, UnitError):
        raise UsageError(f'"{text}" is no time; write "60 s" or "5 min"') from None
    if not 0.0 < value <= _MOST_S:
        raise UsageError(f'"{text}" is no sensible time to hold a load')
    return value


def asked_of(pull: "Pull", load_n: float | None = None, for_s: float | None = None) -> Asked | None:
    """What a pull was to hold; None if nobody asked for anything. Raises: DataError (cells, keys)."""
    for table, where in places_of(pull):
        for name, said in table.items():
            text = str(said).strip()
            if not text:
                continue
            try:
                if load_n is None and (unit := _load_unit(name)) is not None:
                    load_n = parse_force(text if re.search(r"[A-Za-z]", text) else f"{text} {unit}")
                elif for_s is None and name.lower() == TIME:
                    for_s = parse_duration(text)
            except (UnitError, UsageError) as error:
                raise DataError(f"{where}, {name}: {error}") from None
    if load_n is None:
        return None
    if not 0.0 < load_n < math.inf:
        raise UsageError("a proof load lies above 0")
    if for_s is None:
        raise UsageError(
            f'{pull.specimen or pull.name}: for how long? say --for "60 s", or add a column {TIME} to specimens.csv'
        )
    return Asked(load_n, for_s)


def asked_of_specimen(session: "Session", specimen: str) -> Asked | None:
    """What the next pull of a specimen is to hold; None if nothing, or if the time is not said. Raises: DataError."""
    from breakyard.session.pulls import Pull

    row = next((one for one in session.specimens() if one.id == specimen), None)
    coming = Pull(specimen, session.layout.root / specimen, session, specimen=specimen, row=row)
    try:
        return asked_of(coming)
    except UsageError:
        return None


def _load_unit(name: str) -> str | None:
    """The unit of a column of proof loads, "" where its cells must say it; None for another column."""
    if not name.lower().startswith(LOAD):
        return None
    rest = re.sub(r"[^A-Za-z]+", "", name[len(LOAD) :])
    return force_unit(rest) if rest else ""


def prove_pulls(
    results: Sequence[PullResult],
    options: ReadOptions,
    *,
    load_n: float | None = None,
    for_s: float | None = None,
) -> tuple[Proved, ...]:
    """Hold each pull of which something was asked against that.

    Raises: UsageError where nothing was asked of any pull, or no time was said; DataError for cells and keys.
    """
    from breakyard.pull.proof import prove

    curves = Curves(options.calibration, accuracy_percent=options.accuracy_percent)
    found = []
    for result in results:
        asked = asked_of(result.pull, load_n, for_s)
        if asked is None:
            continue
        if result.summary is None:
            found.append(Proved(result, asked, None, result.problem))
            continue
        try:
            curve = curves.of(result.pull)
            spread = _Spread(curve, result, options)
            proof = prove(curve, result.summary, target_n=asked.load_n, for_s=asked.for_s, standard_n=spread)
        except BreakyardError as error:
            found.append(Proved(result, asked, None, str(error)))
            continue
        found.append(Proved(result, asked, proof))
    if not found:
        raise UsageError(
            f'nothing was asked of these pulls: say --load "500 kgf" --for "60 s", or add columns {LOAD} and {TIME} '
            "to specimens.csv"
        )
    return tuple(found)


class _Spread:
    """Standard uncertainty of a load of a pull, by its size: cell, calibration and line, zero, noise (JCGM 100)."""

    def __init__(self, curve: Any, result: PullResult, options: ReadOptions) -> None:
        self._curve, self._result = curve, result
        self._options = with_conditions(options, result.pull)
        self._in_use = in_use_of(result.pull, curve.calibration)

    def __call__(self, load_n: float) -> float:
        from breakyard.pull.budget import instrument_terms
        from breakyard.pull.line import at_cell

        assert self._result.summary is not None
        zero = self._result.summary.zero
        line = self._curve.line
        factor = 1.0 if line is None else line.factor
        curve = self._curve if line is None else at_cell(self._curve)
        terms = instrument_terms(
            curve,
            zero.load_n / factor,
            load_n / factor,
            self._options.misalignment_deg,
            self._options.temperature_c,
            self._in_use,
        )
        own = 0.0 if line is None else line.relative * load_n
        return math.hypot(zero.standard_n, zero.noise_n, own, *(factor * term.standard_n for term in terms))


def document(proved: Sequence[Proved]) -> dict[str, Any]:
    """For programs."""
    from breakyard.document import to_plain

    def row(one: Proved) -> Mapping[str, Any]:
        plain = None if one.proof is None else to_plain(one.proof)
        return one.result.pull.described() | {
            "asked": to_plain(one.asked),
            "proof": plain,
            "problem": one.problem or None,
        }

    return {"schema": "breakyard.proof/1", "pulls": [row(one) for one in proved]}
