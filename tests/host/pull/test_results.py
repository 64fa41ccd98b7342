"""The face for programs: keys, round trip, and what a reader does with strange documents."""

import json

import pytest
from analysis_cases import read_case

from breakyard.errors import DataError
from breakyard.pull.results import Summary

FACE = {
    "peak": {"estimate_n", "low_n", "high_n", "largest_sample_n", "time_s", "bound", "coverage"},
    "strength": {"value_n", "low_n", "high_n", "at_least"},
    "first_peak": {"load_n", "time_s"},
    "break": {"manner", "time_s", "load_n", "residual_n"},
    "rate": {"median_n_per_s", "at_peak_n_per_s", "unsteadiness"},
}


@pytest.fixture(scope="module")
def summary() -> Summary:
    return read_case("progressive", 1)[1]


def test_the_json_face_has_the_agreed_keys(summary: Summary) -> None:
    """Programs rely on these names; more may be added, none may go."""
    document = summary.to_json()

    assert document["schema"] == "breakyard.summary/1"
    assert {"run", "settled", "energy", "flags", "budget", "drops"} | set(FACE) <= set(document)
    for part, keys in FACE.items():
        assert keys <= set(document[part])
    assert all({"time_s", "from_n", "to_n"} <= set(drop) for drop in document["drops"])
    assert all({"source", "standard_n"} <= set(line) for line in document["budget"])


def test_json_and_back_is_the_same_summary(summary: Summary) -> None:
    """Nothing is lost on the way through a file."""
    document = json.loads(json.dumps(summary.to_json(), allow_nan=False))

    assert Summary.from_json(document) == summary


def test_a_newer_file_with_more_keys_is_read(summary: Summary) -> None:
    """Unknown keys are ignored at every depth."""
    document = summary.to_json() | {"colour": "red"}
    document["peak"] = document["peak"] | {"mood": 3}

    assert Summary.from_json(document) == summary


@pytest.mark.parametrize(
    "change", [{"schema": "breakyard.summary/2"}, {"schema": None}, {"peak": None}, {"flags": 3}]
)
def test_what_is_no_summary_gets_one_clear_error(summary: Summary, change: dict[str, object]) -> None:
    """A wrong or damaged document raises DataError with one line."""
    with pytest.raises(DataError) as problem:
        Summary.from_json(summary.to_json() | change)

    assert "\n" not in str(problem.value)


def test_a_missing_part_is_named(summary: Summary) -> None:
    """The reader says what is missing."""
    document = summary.to_json()
    del document["rate"]

    with pytest.raises(DataError, match="rate"):
        Summary.from_json(document)
