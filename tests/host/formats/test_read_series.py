"""A second series as people type it."""

from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breakyard.errors import DataError, UnitError, UsageError
from breakyard.formats.read_series import parse_series
from breakyard.pull.cycles import read_protocol
from breakyard.pull.line import read_line

CELLS = st.sampled_from(
    [
        "",
        "0",
        "1,5",
        "-3",
        "1e400",
        "nan",
        "x",
        "12 mm",
        "time_s",
        "mm",
        "in",
        "load_kgf",
        "remark",
        "\u2212 1",
    ]
)


@pytest.mark.parametrize(
    ("text", "lengths", "unit"),
    [
        ("time_s;mm\n0;0\n1;1,5\n", [0.0, 0.0015], "mm"),
        ("t [s]\textension [in]\n0\t0\n1\t1\n", [0.0, 0.0254], "in"),
        ("load_kgf,mm\n0,\n10,2\n", [np.nan, 0.002], "mm"),
        ("remark,time_s,length_ft\nhello,0,1\n,1,2\n", [0.3048, 0.6096], "ft"),
    ],
)
def test_tables_of_people(text: str, lengths: list[float], unit: str) -> None:
    """Separators, decimal commas, units in brackets or after a line, empty cells."""
    found = parse_series(text.encode("utf-8-sig"), "x.csv")

    assert found.length_m == pytest.approx(np.array(lengths), nan_ok=True)
    assert found.length_unit == unit


@settings(max_examples=200, deadline=None)
@given(st.lists(st.lists(CELLS, min_size=1, max_size=4), max_size=6), st.sampled_from(",;\t"))
def test_any_table_is_read_or_refused_in_one_line(rows: list[list[str]], separator: str) -> None:
    """Nothing but an error of ours leaves it, and what comes out has as many rows as went in."""
    text = "\n".join(separator.join(row) for row in rows)
    with suppress(DataError):
        found = parse_series(text.encode(), "x.csv")
        columns = [one for one in (found.time_s, found.load_n, found.length_m) if one is not None]
        assert len({len(one) for one in columns}) == 1


@settings(max_examples=200, deadline=None)
@given(st.text("0123456789 x.,kNgfthenbreakto-", max_size=40), st.binary(max_size=60))
def test_any_protocol_and_any_bytes(text: str, data: bytes) -> None:
    """Errors of ours alone."""
    with suppress(UsageError, UnitError):
        assert read_protocol(text).count > 0
    with suppress(DataError):
        parse_series(data, "x.csv")


@given(
    st.dictionaries(
        st.sampled_from(["lever", "lever_pm", "legs", "angle_deg", "falls", "efficiency"]),
        st.one_of(st.floats(), st.text(max_size=3), st.booleans()),
    )
)
def test_any_line_is_a_factor_above_nothing_or_refused(table: dict[str, object]) -> None:
    """A finite factor above 0 with a finite doubt, or an error of ours."""
    found = None
    with suppress(DataError):
        found = read_line(table, "x")
    assert found is None or (0.0 < found.factor < float("inf") and 0.0 <= found.relative < float("inf"))
