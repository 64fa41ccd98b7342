"""The table of check weighings: read as written, spreadsheets may have touched it, sessions share it."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.calibration.check_weighing import CheckWeighing
from breakyard.errors import DataError
from breakyard.session.files.checks import COLUMNS, add_check, check_file, checks_text, history, read_checks

ONE = CheckWeighing(
    1_777_800_000.0, "20 kg [A]", 196.2, 196.25, 0.2, 43_000.5, 128_900.0, "abc", "0123", "check.run"
)
NUMBERS = st.floats(-1e6, 1e6, allow_nan=False)


@given(
    when=st.integers(0, 4_000_000_000), known=st.floats(0.1, 1e6), shown=NUMBERS, zero=NUMBERS, loaded=NUMBERS,
    text=st.sampled_from(["20 kg", "3 x 20 kg +- 0,1 kg", '20 L water at 12 C + "can"', "45 lb; the old one"]),
)  # fmt: skip
def test_what_is_written_is_read(
    tmp_path_factory: pytest.TempPathFactory, when, known, shown, zero, loaded, text
):  # type: ignore[no-untyped-def]
    """Any check comes back, rounded to what the table shows."""
    path = tmp_path_factory.mktemp("checks") / "a.csv"
    check = replace(
        ONE,
        when_utc_s=float(when),
        known_n=known,
        shown_n=shown,
        zero_counts=zero,
        loaded_counts=loaded,
        text=text,
    )
    add_check(path, check)
    (read,) = read_checks(path)

    assert (read.when_utc_s, read.text, read.logger) == (when, text, "0123")
    assert read.known_n == pytest.approx(known, abs=1e-4)
    assert read.shown_n == pytest.approx(shown, abs=1e-4)
    assert read.loaded_counts == pytest.approx(loaded, abs=0.1)


def test_a_spreadsheet_may_have_saved_it(tmp_path: Path) -> None:
    """Semicolons, decimal commas, other columns, blank rows."""
    path = tmp_path / "a.csv"
    rows = [
        ";".join([*COLUMNS, "weather"]),
        "",
        "2026-05-03T08:00:00Z;20 kg;196,2;196,25;0,05;0,2;holds;43000,5;128900;r;l;h;dry",
    ]
    path.write_bytes(("\ufeff" + "\r\n".join(rows) + "\r\n;;;;;;;;;;;;\r\n").encode())

    (read,) = read_checks(path)
    assert read.shown_n == 196.25
    assert read.zero_counts == 43_000.5


def test_the_history_of_a_logger_spans_the_sessions_side_by_side(tmp_path: Path) -> None:
    """Tables of the same logger in sibling sessions are read; other folders and other loggers are not."""
    for number, name in enumerate(("may", "june", "july")):
        root = tmp_path / name
        root.mkdir()
        if name != "july":
            (root / "session.toml").write_text("")
        add_check(check_file(root, "01 23"), replace(ONE, when_utc_s=1000.0 * (3 - number)))
    add_check(check_file(tmp_path / "may", "other"), ONE)
    (tmp_path / "june/checks/broken.csv").write_text("nothing")

    found, problems = history(check_file(tmp_path / "may", "01 23"))
    assert [check.when_utc_s for check in found] == [2000.0, 3000.0]
    assert problems == ()
    (tmp_path / "june/checks/01-23.csv").write_text("nothing")
    found, problems = history(check_file(tmp_path / "may", "01 23"))
    assert len(found) == 1
    assert "june" in problems[0]


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("today,20 kg,1,1,0,1,holds,1,1,r,l,h", "row 2"),
        ("2026-05-03T08:00:00Z,20 kg,1,x,0,1,holds,1,1,r,l,h", 'shown_n "x"'),
        ("2026-05-03T08:00:00Z,20 kg,1,1,0,0,holds,1,1,r,l,h", "above zero"),
    ],
)
def test_a_damaged_table_is_named_with_its_row(tmp_path: Path, row: str, expected: str) -> None:
    """One line; nothing is overwritten."""
    path = tmp_path / "a.csv"
    path.write_text(",".join(COLUMNS) + "\n" + row + "\n")
    before = path.read_bytes()
    with pytest.raises(DataError, match=r"a\.csv") as caught:
        add_check(path, ONE)

    assert expected in str(caught.value)
    assert path.read_bytes() == before


def test_the_table_has_a_verdict_for_people() -> None:
    """A row says whether the calibration held."""
    text = checks_text([ONE, replace(ONE, shown_n=199.0)])

    assert [line.split(",")[6] for line in text.splitlines()[1:]] == ["holds", "calibrate again"]
