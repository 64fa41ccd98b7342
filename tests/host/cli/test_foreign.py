"""Texts and names from elsewhere: formulas, escape sequences, markup, bytes that are no UTF-8, odd folders."""

import csv
import io
import json
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.cli.output import Output
from breakyard.errors import UsageError
from breakyard.formats.spreadsheet import as_typed, defused
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session, find_session, open_session

from .conftest import Said
from .faulty_commands import pull_text

Breakyard = Callable[..., Said]

FORMULAS = ("=1+1", "+1", "-20 C", "@SUM(A1)", "\t=1", "\r=1", "＝1", "\x1b[2J")


@pytest.fixture
def yard(breakyard: Breakyard, tmp_path: Path) -> Path:
    """A session with a pull of a specimen whose group begins like a formula."""
    session = create_session(
        tmp_path / "yard", SessionInfo(), [Specimen("A1", "=HYPERLINK(1)"), Specimen("A2", "-20 C")]
    )
    for at, name in enumerate(("A1", "A2")):
        (tmp_path / f"{name}.csv").write_text(pull_text(2000.0, at))
    assert breakyard("import", "A1.csv", "A2.csv", "--session", session.root, "--accuracy", "1").status == 0
    return session.root


@pytest.mark.parametrize("text", FORMULAS)
def test_a_formula_is_shown_and_not_run(text: str) -> None:
    """An apostrophe before it, as OWASP ("CSV Injection") has it; and it comes back as it was typed."""
    assert defused(text) == f"'{text}"
    assert as_typed(defused(text)) == text


@given(st.text())
def test_every_text_comes_back(text: str) -> None:
    """Also one that begins with apostrophes already; and none that is written is run."""
    assert as_typed(defused(text)) == text
    assert defused(text)[:1] not in tuple("=+-@\t\r\n＝＋－＠")


def test_no_export_holds_a_formula(breakyard: Breakyard, yard: Path, tmp_path: Path) -> None:
    """Every table that is written for a spreadsheet; numbers stay numbers."""
    assert breakyard("export", yard, "--to", tmp_path / "out").status == 0
    assert breakyard("summarize", yard).status == 0
    tables = [*(tmp_path / "out").glob("*.csv"), yard / "results" / "summaries.csv"]

    cells = [
        cell
        for table in tables
        for row in csv.reader(io.StringIO(table.read_text("utf-8-sig")))
        for cell in row
        if cell[:1] in tuple("=+-@\t\r") and not _is_number(cell)
    ]
    assert cells == []
    summaries = (yard / "results" / "summaries.csv").read_text("utf-8-sig")
    assert "'=HYPERLINK(1)" in summaries
    assert "'-20 C" in summaries


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def test_nothing_foreign_reaches_the_terminal_as_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    """Escape sequences in titles, headings, cells, lines and bars become a sign; brackets are no markup."""
    evil = "[red]\x1b[2J\x9b31m\u202e[/nope]"
    out = Output(as_json=False)
    out.table(evil, (evil, evil), [(evil, evil)])
    out.say(evil)
    out.warn(evil)
    with out.progress(evil, 2) as step:
        step(evil)
    said = capsys.readouterr()

    shown = said.out + said.err
    assert not {"\x1b", "\x9b", "\u202e"} & set(said.out + said.err.replace("\x1b[?25", ""))
    assert shown.count("[red]") >= 4
    assert "[/nope]" in shown


def test_a_wrong_word_is_not_repeated_as_it_is(breakyard: Breakyard) -> None:
    """What a shell's star found may be anybody's name for a file."""
    said = breakyard("logger", "fetch", "\x1b[2Jx", "--link", "virtual")

    assert said.status == 2
    assert "\x1b" not in said.err


def test_a_group_that_is_an_escape_sequence(breakyard: Breakyard, yard: Path) -> None:
    """In a heading of the comparison, where groups stand."""
    (yard / "specimens.csv").write_text(
        'id,group,order,mass_kg,notes\nA1,"\x1b[2Ja",,,\nA2,"[bold]b[/nope]",,,\n'
    )
    said = breakyard("compare", yard)

    assert said.status == 0
    assert "\x1b" not in said.out + said.err
    assert "[bold]b[/nope]" in said.out


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names are Unicode there")
def test_a_name_that_is_no_utf_8(breakyard: Breakyard, yard: Path, tmp_path: Path) -> None:
    """Imported under a name that can be written, nothing half done; lying in runs/ it hinders no command."""
    strange = os.fsdecode(b"Pr\xfcfung.csv")
    (tmp_path / strange).write_text(pull_text(2100.0, 3))
    said = breakyard("import", strange, "--session", yard, "--accuracy", "1", "--json")
    assert said.status == 0, said.err
    assert said.document["name"] == "Pr-fung"
    assert 'original_name = "Pr\N{REPLACEMENT CHARACTER}fung.csv"' in (yard / "runs/Pr-fung.toml").read_text(
        "utf-8"
    )

    shutil.copy(yard / "runs" / "A1.csv", yard / "runs" / os.fsdecode(b"\xff1.csv"))
    shutil.copy(yard / "runs" / "A1.toml", yard / "runs" / os.fsdecode(b"\xff1.toml"))
    (yard / os.fsdecode(b"\xfe")).mkdir()
    (yard / os.fsdecode(b"\xfe") / os.fsdecode(b"\xfd.jpg")).write_bytes(b"x")
    for words in (
        ("summarize", yard),
        ("summarize", yard, "--json"),
        ("summarize", yard / "runs" / os.fsdecode(b"\xff1.csv")),
        ("compare", yard, "--json"),
        ("plot", yard),
        ("report", yard, "--markdown"),
        ("export", yard, "--to", tmp_path / "out", "--json"),
        ("export", yard, "--to", tmp_path / "all", "--archive"),
        ("import", tmp_path / "all", "--session", tmp_path / "back", "--json"),
    ):
        said = breakyard(*words)
        assert said.status in (0, 1, 2), (words, said.err)
        assert "Traceback" not in said.err
        assert said.status == 0 or said.complaint
        if "--json" in words:
            json.dumps(said.document).encode("utf-8")


def test_a_folder_inside_a_session_that_is_none(breakyard: Breakyard, yard: Path, tmp_path: Path) -> None:
    """A copy without its session.toml: its parent's pulls and calibration are not taken for its own."""
    inner = yard / "day 2"
    (inner / "runs").mkdir(parents=True)
    (inner / "runs" / "B1.csv").write_text(pull_text(2000.0, 5))
    for words in (
        ("summarize", inner),
        ("compare", inner),
        ("report", inner),
        ("plot", inner, "--view", "session"),
    ):
        said = breakyard(*words)
        assert said.status == 2
        assert f"{inner}: no session.toml here; it lies inside the session {yard}" in said.complaint
    with pytest.raises(UsageError, match="is none of its folders"):
        open_session(inner)

    assert find_session(inner / "runs" / "B1.csv") is None
    assert find_session(yard / "runs" / "A1.csv") == open_session(yard) == open_session(yard / "runs")
    assert "A1" not in breakyard("summarize", inner / "runs" / "B1.csv").out
    said = breakyard("import", "A1.csv", "--session", yard / "new", "--accuracy", "1")
    assert said.status == 2
    assert f"this would lie inside the session {yard}" in said.complaint
    assert not (yard / "new").exists()
