"""Counts to newtons: known loads, plateaus of a calibration run, fit, intervals, sanity.

The parts: `known_loads` and `load_text` (what hung), `weight` (mass -> force), `plateaus`
(a recording -> points), `transfer` (a second cell -> points), `points`, `fit`, `degree`, `make` (points ->
calibration), `model` (the calibration), `bend` (what a rated non-linearity can do), `terms` (budgets),
`monte_carlo` (the same by drawing), `quality` (terms of the standards), `sanity` (mistakes), `band` (for a
picture), `device_copy` (for the logger).
"""

from breakyard.calibration.band import Band, interval_band
from breakyard.calibration.degree import LackOfFit, Suspect
from breakyard.calibration.device_copy import DeviceCopy, copy_for_device, load_of_copy, record_for_device
from breakyard.calibration.known_loads import KnownLoad, mass_load, reference_load
from breakyard.calibration.load_text import parse_load, parse_loads
from breakyard.calibration.make import calibrate
from breakyard.calibration.model import Calibration, LoadInterval
from breakyard.calibration.monte_carlo import Drawn, monte_carlo
from breakyard.calibration.plate import Plate
from breakyard.calibration.plateaus import (
    CalibrationPlateau,
    CalibrationPlateaus,
    find_plateaus,
    pair,
    points_from_run,
)
from breakyard.calibration.points import Point, mass_point
from breakyard.calibration.propagate import coverage_interval
from breakyard.calibration.quality import E74, CalibrationQuality
from breakyard.calibration.sanity import CalibrationFinding, check_sanity
from breakyard.calibration.terms import Combined, Term, combine, coverage_factor, limits
from breakyard.calibration.transfer import transfer_points, transferred_load
from breakyard.calibration.weight import (
    Air,
    Gravity,
    air_at_height,
    air_from_weather,
    gravity_at,
    standard_gravity,
    stated_air,
    stated_gravity,
)

__all__ = [
    "E74",
    "Air",
    "Band",
    "Calibration",
    "CalibrationFinding",
    "CalibrationPlateau",
    "CalibrationPlateaus",
    "CalibrationQuality",
    "Combined",
    "DeviceCopy",
    "Drawn",
    "Gravity",
    "KnownLoad",
    "LackOfFit",
    "LoadInterval",
    "Plate",
    "Point",
    "Suspect",
    "Term",
    "air_at_height",
    "air_from_weather",
    "calibrate",
    "check_sanity",
    "combine",
    "copy_for_device",
    "coverage_factor",
    "coverage_interval",
    "find_plateaus",
    "gravity_at",
    "interval_band",
    "limits",
    "load_of_copy",
    "mass_load",
    "mass_point",
    "monte_carlo",
    "pair",
    "parse_load",
    "parse_loads",
    "points_from_run",
    "record_for_device",
    "reference_load",
    "standard_gravity",
    "stated_air",
    "stated_gravity",
    "transfer_points",
    "transferred_load",
]
