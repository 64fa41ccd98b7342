"""Known loads as people type them: a load with its uncertainty, or one clear line."""

import math

from breakyard.calibration.known_loads import KnownLoad
from breakyard.calibration.load_text import parse_load
from breakyard.document import from_plain, to_plain
from breakyard.errors import BreakyardError
from breakyard.units import FORCE_UNITS, parse_force, parse_mass

MAX_LEN = 60


def seeds():
    texts = (
        "0",
        "20 kg",
        "3 x 20 kg +- 0.01 kg",
        "45 lb",
        "20 L water at 12 C + 0.9 kg",
        "20 kg steel [A] +- 5 g (k=2) via 4:1 +- 1 %",
        "1,5 kg",
        "2e3 g",
        "120 kgf",
        "1 kN",
    )
    return [text.encode() for text in texts]


def try_one(data):
    text = data.decode("utf-8", errors="replace")
    for read in (parse_force, parse_mass):
        try:
            number = read(text)
        except BreakyardError as error:
            assert "\n" not in str(error) or "\n" in text
        else:
            assert math.isfinite(number)
    try:
        load = parse_load(text)
    except BreakyardError as error:
        assert str(error)
        return
    assert all(math.isfinite(piece.kilograms) for piece in load.pieces)
    assert from_plain(KnownLoad, to_plain(load)) == load
    assert FORCE_UNITS
