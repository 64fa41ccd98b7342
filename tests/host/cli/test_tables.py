"""Tables in terminals of any width, and in pipes."""

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.cli.tables import lay_out

from .conftest import Said

Breakyard = Callable[..., Said]

HEADINGS = ("Specimen", "Group", "Peak [kgf] (95 %)", "Strength [kgf] (95 %)", "How it broke", "Rate [kgf/s]")
ROWS = (
    ("S2", "screwed", "428.0 (425.8 to 430.5)", "same", "progressive: let go in steps", "60"),
    ("T3", "through-bolted", "1274.7 (1268.2 to 1282.3)", "same", "ductile: gave way before it broke", "120"),
    ("! S3", "screwed", "343.0 (341.3 to 345.0)", "at least 341", "did not break", "14000"),
)


def words(cells: list[str]) -> list[str]:
    """Every word of some texts, sorted."""
    return sorted(word for cell in cells for word in cell.split())


@pytest.mark.parametrize("width", [24, 40, 60, 80, 100, 120, 200])
def test_no_word_and_no_number_is_split(width: int) -> None:
    """`120` stood as 12 and 0 at 60 columns, `through-bolted` as two words at 80."""
    out = lay_out("", HEADINGS, ROWS, width)
    told = [cell for row in ROWS for cell in row]

    assert max(map(len, out.splitlines())) <= width
    found = out.split()
    assert all(
        found.count(word) >= told_words.count(word) for told_words in [words(told)] for word in told_words
    )


@pytest.mark.parametrize(("width", "blocks"), [(60, True), (80, False), (120, False)])
def test_a_narrow_terminal_gets_a_block_for_each_row(width: int, blocks: bool) -> None:
    """Where the columns do not fit, each row stands under its name, each cell beside its heading."""
    out = lay_out("Pulls", HEADINGS, ROWS, width)

    assert (re.search(r"^T3$", out, re.MULTILINE) is not None) == blocks
    assert (
        re.search(r"^  Peak \[kgf\] \(95 %\) +1274\.7 \(1268\.2 to 1282\.3\)$", out, re.MULTILINE) is not None
    ) == blocks


def test_what_is_piped_is_not_wrapped(breakyard: Breakyard, tmp_path: Path) -> None:
    """A row is a line, without blanks at its end, whatever COLUMNS says."""
    time = np.arange(0.0, 12.0, 0.02)
    load = np.interp(time, [0.0, 4.0, 8.0, 8.02, 12.0], [0.0, 0.0, 3.2, 0.0, 0.0])
    (tmp_path / "a-rather-long-name-of-a-recording.csv").write_text(
        "Time [s],Load [kN]\n" + "".join(f"{t:.2f},{f:.4f}\n" for t, f in zip(time, load, strict=True))
    )

    said = breakyard("summarize", "a-rather-long-name-of-a-recording.csv")

    assert re.search(
        r"^ ?a-rather-long-name-of-a-recording .* brittle: all at once .*\d$", said.out, re.MULTILINE
    )
    assert not re.search(r" $", said.out, re.MULTILINE)


@given(
    st.lists(st.lists(st.text(alphabet="ab1 .\u4e00", max_size=14), min_size=3, max_size=3), max_size=4),
    st.integers(30, 90),
)
def test_every_cell_is_told(rows: list[list[str]], width: int) -> None:
    """Whatever the texts and the width, no word of them is missing or in pieces."""
    found = lay_out("", ("name", "one", "two"), rows, width).split()

    for word in words([cell for row in rows for cell in row]):
        assert word in found


def test_one_reason_is_said_once(breakyard: Breakyard, tmp_path: Path) -> None:
    """Several recordings of counts, no calibration: one line names them all."""
    for name in ("a", "b", "c"):
        (tmp_path / f"{name}.csv").write_text(
            "time,counts\n" + "".join(f"{i / 80},{i * 100}\n" for i in range(200))
        )
    breakyard("import", "a.csv", "b.csv", "c.csv", "--session", "yard", "--load-unit", "counts")

    said = breakyard("summarize", "yard")

    assert said.status == 1
    assert said.complaint.startswith("breakyard: 3 pulls (a, b, c): ")
    assert "there is no calibration" in said.complaint
