"""Calibration documents, their hash made to fit: one that is read can be used for loads and budgets, or is refused."""

import json
from functools import cache

import numpy as np

from breakyard.calibration import Calibration, calibrate
from breakyard.calibration.device_copy import record_for_device
from breakyard.calibration.plate import Plate
from breakyard.calibration.points import mass_point
from breakyard.document import hash_of
from breakyard.errors import BreakyardError
from breakyard.wire.records import build

MAX_LEN = 6000


@cache
def example():
    """A calibration's document as text."""
    readings = ((0.0, 0.0), (5.0, 3.0), (10.0, -2.0), (20.0, 4.0), (40.0, -3.0), (20.0, 5.0))
    points = [mass_point(mass, 1000.0 + 8000.0 * mass + off, limit_kg=0.01) for mass, off in readings]
    made = calibrate(points, name="may", gain=128, plate=Plate(capacity_n=5000.0, rated_output_mv_v=2.0))
    document = made.to_json()
    return json.dumps(
        {key: value for key, value in document.items() if key not in ("hash", *Calibration.BESIDE)}
    )


def seeds():
    text = example()
    changes = (
        ('"scale": ', '"scale": 0.0, "was": '),
        ('"coefficients_n": [', '"coefficients_n": [], "was": ['),
        ('"highest_known_n": ', '"highest_known_n": 0, "was": '),
        ('"points": [', '"points": [], "was": ['),
        ('"gain": 128', '"gain": "high"'),
        ('"name": "may"', '"name": 5'),
        ('"created": "', '"created": 5, "was": "'),
        ('"covariance_n2": [', '"covariance_n2": [[-1.0, 0.0], [0.0, -1.0]], "was": ['),
        ('"degrees_of_freedom": ', '"degrees_of_freedom": 1e300, "was": '),
        ('"scale": ', '"scale": 1e-300, "was": '),
        ('"density_kg_m3": ', '"density_kg_m3": 0.0, "was": '),
        ('"gravity": {', '"gravity": {"value": 0.0, "more": 1, "standard": 0, "source": "x"}, "was": {'),
    )
    found = [text.encode()]
    for old, new in changes:
        assert old in text, old
        found.append(text.replace(old, new, 1).encode())
    # All points with nothing hung, and all with the same counts.
    for name, value in (("load", {"text": "0"}), ("counts", 1000.0)):
        same = json.loads(text)
        for point in same["points"]:
            point[name] = value
        found.append(json.dumps(same).encode())
    return [*found, b"[" * 5000, b"[]", b"{}", b"5"]


def try_one(data):
    text = data.decode("utf-8", errors="replace")
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        document = text
    if isinstance(document, dict):
        document.setdefault("schema", Calibration.SCHEMA)
        content = {key: value for key, value in document.items() if key not in ("hash", *Calibration.BESIDE)}
        try:
            document["hash"] = hash_of(content)
        except (ValueError, OverflowError, RecursionError):
            document["hash"] = "?"
    try:
        calibration = Calibration.from_json(document)
    except BreakyardError as error:
        assert str(error)
        return
    _use(calibration)


def _use(calibration):
    with np.errstate(over="ignore", invalid="ignore"):
        load = calibration.load_n(np.array([-8388608.0, 0.0, 1000.0, 8388607.0]), 1000.0)
        calibration.slope_n_per_count(1000.0)
    assert load.shape == (4,)
    try:
        again = calibration.to_json()
    except BreakyardError:
        return
    assert Calibration.from_json(json.loads(json.dumps(again))).content_hash == calibration.content_hash
    for term in calibration.terms(calibration.counts_at(calibration.highest_known_n, 0.0), 0.0):
        assert term.standard_n >= 0.0 or term.standard_n != term.standard_n
    try:
        build(record_for_device(calibration))
    except BreakyardError as error:
        assert str(error)
