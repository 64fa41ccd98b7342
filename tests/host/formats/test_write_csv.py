"""Curves and tables written for other programs read back as they were."""

import csv
import io
import json
import math
import re

import numpy as np
import pytest
from analysis_cases import read_case
from hypothesis import given, settings
from hypothesis import strategies as st

from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.errors import UnitError, UsageError
from breakyard.formats.read_csv import parse_csv
from breakyard.formats.recording import CsvOptions
from breakyard.formats.write_csv import curve_csv, heading, summaries_csv
from breakyard.formats.write_json import json_text
from breakyard.pull.rows import summaries_to_frame


def curve(time_s: list[float], load_n: list[float]) -> LoadCurve:
    return curve_from_columns(time_s, load_n, name="x", extension_m=np.linspace(0.0, 1.0, len(time_s)))


@given(
    st.lists(
        st.floats(-1e7, 1e7).filter(lambda load: load == 0 or abs(load) > 1e-3), min_size=8, max_size=30
    ),
    st.sampled_from([(",", "."), (";", ","), ("\t", ","), (";", ".")]),
    st.sampled_from(["N", "kN", "lbf"]),
)
@settings(max_examples=100)
def test_a_curve_reads_back(loads: list[float], marks: tuple[str, str], unit: str) -> None:
    """Times to a microsecond, the rest to seven digits of the largest; the decimal mark is said where it is open."""
    original = curve([0.1 * step * step + step for step in range(len(loads))], loads)

    text = curve_csv(original, unit=unit, separator=marks[0], decimal=marks[1])
    recording = parse_csv(text.encode(), options=CsvOptions(decimal=marks[1]))

    assert recording.load_n is not None
    assert recording.extension_m is not None
    np.testing.assert_allclose(recording.time_s, original.time_s, rtol=1e-14, atol=0.51e-6)
    fine = 0.51e-6 * float(np.max(np.abs(original.load_n)))
    np.testing.assert_allclose(recording.load_n, original.load_n, rtol=1e-14, atol=fine)
    np.testing.assert_allclose(recording.extension_m, original.extension_m, rtol=0.0, atol=0.51e-6)
    assert recording.layout.load.name == f"Load [{unit}]"


def test_zero_is_subtracted_and_doubtful_samples_are_marked() -> None:
    original = curve([float(n) for n in range(8)], [5.0, math.nan, 7.0, 8.0, 9.0, 9.0, 9.0, 9.0])

    rows = list(csv.reader(io.StringIO(curve_csv(original, zero_n=5.0))))

    assert rows[0] == ["Time [s]", "Load [N]", "Extension [m]", "Usable"]
    assert [row[1] for row in rows[1:4]] == ["0.0", "-5.0", "2.0"]
    assert [row[3] for row in rows[1:4]] == ["1", "0", "1"]


def test_no_number_has_more_digits_than_mean_something() -> None:
    """A load was written as 4197.283746518332: its interval is 20 N wide."""
    original = curve([n / 87.3 for n in range(8)], [1000.0 / (n + 3.0) for n in range(8)])
    cells = [cell for row in csv.reader(io.StringIO(curve_csv(original, unit="kgf"))) for cell in row[:3]][3:]
    table = summaries_csv([read_case("snatch", 1)[1]])

    assert max(len(cell.replace(".", "").lstrip("0")) for cell in cells) <= 8
    assert (
        max(
            len(cell.split("e")[0].replace(".", "").lstrip("0-"))
            for cell in table.splitlines()[1].split(",")
            if re.fullmatch(r"-?[\d.]+(e-?\d+)?", cell)
        )
        <= 8
    )


def test_marks_that_collide_are_refused() -> None:
    original = curve([float(n) for n in range(8)], [1.0] * 8)

    with pytest.raises(UsageError, match="not both"):
        curve_csv(original, separator=",", decimal=",")
    with pytest.raises(UsageError, match="separated"):
        curve_csv(original, separator="|")
    with pytest.raises(UnitError, match="kgf"):
        curve_csv(original, unit="kg")


@pytest.mark.parametrize(
    ("name", "title", "divisor"),
    [
        ("name", "name", 1.0),
        ("peak_n", "peak [lbf]", 4.4482216152605),
        ("rate_n_per_s", "rate [lbf/s]", 4.4482216152605),
        ("peak_time_s", "peak_time [s]", 1.0),
    ],
)
def test_headings_say_the_unit(name: str, title: str, divisor: float) -> None:
    """The pound-force of NIST SP 811, appendix B.8."""
    assert heading(name, "lbf") == (title, pytest.approx(divisor, rel=1e-14))


@pytest.mark.parametrize("marks", [(",", "."), (";", ",")])
def test_a_table_of_summaries_is_what_pandas_writes(marks: tuple[str, str]) -> None:
    """Cell by cell, with what is not known, quotes and separators in names: pandas is the second opinion."""
    summaries = [read_case("snatch", 1)[1], read_case("progressive", 1)[1]]
    names = ['a "b", c; d', ""]

    text = summaries_csv(summaries, more={"specimen": names}, separator=marks[0], decimal=marks[1])

    frame = summaries_to_frame(summaries)
    frame.columns = [heading(name, "N")[0] for name in frame.columns]
    for name in frame.select_dtypes("float").columns:
        frame[name] = [float(f"{value:.7g}") for value in frame[name]]
    frame.insert(0, "specimen", names)
    assert text == frame.to_csv(index=False, sep=marks[0], decimal=marks[1], lineterminator="\n")


def test_an_empty_table_can_be_written() -> None:
    assert summaries_csv([], more={"specimen": []}).startswith("specimen")
    with pytest.raises(UsageError, match="1 rows for 0"):
        summaries_csv([], more={"specimen": ["B1"]})


def test_json_has_no_word_for_what_is_no_number() -> None:
    text = json_text({"a": math.nan, "b": [math.inf, 1.5], "c": ("ü", None, True)})

    assert json.loads(text) == {"a": None, "b": [None, 1.5], "c": ["ü", None, True]}
    with pytest.raises(TypeError):
        json_text({"a": object()})
