"""Counts to newtons: known loads, plateaus of a calibration run, fit, intervals, sanity.

The parts: `known_loads` and `load_text` (what hung), `gravity` and `air` (mass -> force), `plateaus`
(a recording -> points), `points`, `fit`, `make` (points -> calibration), `model` (the calibration),
`shape` (what a rated non-linearity can do), `terms` (budgets).
"""

from breakyard.calibration.air import Air, air_at_height, air_from_weather, stated_air
from breakyard.calibration.gravity import Gravity, gravity_at, standard_gravity, stated_gravity
from breakyard.calibration.known_loads import KnownLoad, mass_load, reference_load
from breakyard.calibration.load_text import parse_load, parse_loads
from breakyard.calibration.make import calibrate
from breakyard.calibration.model import Calibration, LoadInterval
from breakyard.calibration.plate import Plate
from breakyard.calibration.plateaus import Plateau, Plateaus, find_plateaus, pair, points_from_run
from breakyard.calibration.points import Point, mass_point
from breakyard.calibration.terms import Combined, Term, combine, coverage_factor

__all__ = [
    "Air",
    "Calibration",
    "Combined",
    "Gravity",
    "KnownLoad",
    "LoadInterval",
    "Plate",
    "Plateau",
    "Plateaus",
    "Point",
    "Term",
    "air_at_height",
    "air_from_weather",
    "calibrate",
    "combine",
    "coverage_factor",
    "find_plateaus",
    "gravity_at",
    "mass_load",
    "mass_point",
    "pair",
    "parse_load",
    "parse_loads",
    "points_from_run",
    "reference_load",
    "standard_gravity",
    "stated_air",
    "stated_gravity",
]
