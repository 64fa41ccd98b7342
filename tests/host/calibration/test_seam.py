"""A calibration is a value: made from points, kept as JSON, the same when read back."""

import json
from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest

from breakyard.calibration import Calibration, Plate, calibrate, gravity_at, mass_point
from breakyard.document import hash_of
from breakyard.errors import CalibrationError, DataError

PLATE = Plate(capacity_n=19613.3, rated_output_mv_v=2.0, nonlinearity=0.0003, hysteresis=0.0002)


def make(**changes: object) -> Calibration:
    points = [mass_point(kg, 1000.0 + 2147.0 * kg, limit_kg=0.01 * kg) for kg in (0, 20, 40, 60, 40, 20, 0)]
    return calibrate(points, **{"plate": PLATE, "gravity": gravity_at(54.0, 10.0), **changes})  # type: ignore[arg-type]


def test_json_brings_back_the_same_calibration() -> None:
    """to_json, through text, from_json gives an equal value with the same hash."""
    made = make(name="yard", created="2026-05-03T08:00:00Z", provenance={"run": "cal.run"})
    text = json.dumps(made.to_json())

    assert Calibration.from_json(text) == made
    assert Calibration.from_json(json.loads(text)).content_hash == made.content_hash


def test_changed_file_is_refused() -> None:
    """A slope edited by hand is noticed."""
    document = make().to_json()
    document["fit"]["coefficients_n"][1] *= 1.01

    with pytest.raises(DataError, match="changed after it was made"):
        Calibration.from_json(document)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"schema": "breakyard.summary/1"}', "not json"])
def test_other_files_are_refused_in_one_line(text: str) -> None:
    """What is no calibration gives one clear line."""
    with pytest.raises(DataError) as caught:
        Calibration.from_json(text)

    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("field", ["fit", "points", "gravity", "effects", "suspects", "temperature_range_c"])
def test_a_document_without_a_part_is_refused_in_one_line(field: str) -> None:
    """Also when its hash was made to agree: a part is missing, not a traceback."""
    document = make().to_json()
    content = {key: value for key, value in document.items() if key not in (field, "hash", "derived")}

    with pytest.raises(DataError, match="calibrate again"):
        Calibration.from_json({**content, "hash": hash_of(content)})


def test_numbers_that_json_does_not_know_are_refused() -> None:
    """NaN in a file is told, not carried on."""
    text = json.dumps({**make().to_json(), "highest_known_n": float("nan")})

    with pytest.raises(DataError, match="JSON does not know"):
        Calibration.from_json(text)


def test_derived_values_are_not_part_of_the_hash() -> None:
    """What follows from the rest may be dropped; other spellings of a number are the same number."""
    document = make().to_json()
    del document["derived"]
    text = json.dumps(document).replace('"latitude_deg": 54.0', '"latitude_deg": 54')

    assert Calibration.from_json(text) == make()


def test_load_is_relative_to_the_zero_given() -> None:
    """The same counts above another zero mean the same load on a straight cell."""
    made = make()

    np.testing.assert_allclose(
        made.load_n([1000.0, 1000.0 + 2147.0 * 60], 1000.0),
        made.load_n([1500.0, 1500.0 + 2147.0 * 60], 1500.0),
    )
    assert made.load_n(777.0, 777.0) == 0.0
    assert made.slope_n_per_count(0.0) == pytest.approx(9.8137 * 0.99985 / 2147.0, rel=1e-4)


def test_extrapolation_counts_from_the_highest_known_load() -> None:
    """1200 kgf on masses up to 60 kg is twenty times beyond."""
    made = make()

    assert made.extrapolation(made.highest_known_n) == 1.0
    assert made.extrapolation(20.0 * made.highest_known_n) == pytest.approx(20.0)


def test_calibration_cannot_be_changed() -> None:
    """Frozen, and a changed copy has another hash."""
    made = make()
    with pytest.raises(FrozenInstanceError):
        made.name = "other"  # type: ignore[misc]

    assert replace(made, name="other").content_hash != made.content_hash


@pytest.mark.parametrize(
    ("points", "complaint"),
    [
        ([], "0 points"),
        ([mass_point(20.0, 5.0)], "1 points"),
        ([mass_point(20.0, 5.0), mass_point(20.0, 6.0)], "1 different loads"),
        ([mass_point(0.0, 5.0), mass_point(20.0, 5.0)], "same counts"),
    ],
)
def test_points_that_carry_nothing_are_refused(points: list[object], complaint: str) -> None:
    """The message says how many points and loads there were."""
    with pytest.raises(CalibrationError, match=complaint):
        calibrate(points)  # type: ignore[arg-type]
