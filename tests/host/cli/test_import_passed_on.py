"""What the field page passes on, imported: byte for byte, with what was said of each run."""

from collections.abc import Callable
from pathlib import Path

from breakyard.run import read_run

from .conftest import Said

TABLE = (
    "serial,run,specimen,outcome,note,recorded,purpose\r\n"
    "{serial},1,S1,broke,\"first, crack\",2026-11-28T10:00:00.000Z,\r\n"
    "{serial},2,,did not break,'=1+1,2026-11-28T10:05:00.000Z,weighing\r\n"
)  # fmt: skip


def test_both_files_in_one_go(
    breakyard: Callable[..., Said], tmp_path: Path, two_runs: tuple[bytes, bytes]
) -> None:
    """Each run is what it was before it was joined; the words are in its notes; a second time changes nothing."""
    serial = read_run(two_runs[0]).identity.serial.hex()  # type: ignore[union-attr]
    (tmp_path / "pulls.run").write_bytes(two_runs[0] + two_runs[1])
    (tmp_path / "pulls.csv").write_text(TABLE.format(serial=serial), encoding="utf-8")
    words = ("import", "pulls.run", "pulls.csv", "--session", "session", "--json")

    first = breakyard(*words).document
    again = breakyard(*words).document

    kept = [Path(one["file"]) for one in first["runs"]]
    assert [path.read_bytes() for path in kept] == list(two_runs)
    assert kept[0].name == "S1.run"
    assert 'outcome = "broke"' in kept[0].with_suffix(".toml").read_text("utf-8")
    assert "first, crack" in kept[0].with_suffix(".toml").read_text("utf-8")
    assert '"=1+1"' in kept[1].with_suffix(".toml").read_text("utf-8")
    assert 'purpose = "weighing"' in kept[1].with_suffix(".toml").read_text("utf-8")
    assert "\npurpose = " not in kept[0].with_suffix(".toml").read_text("utf-8")
    assert [one["new"] for one in first["runs"]] == [True, True]
    assert [one["new"] for one in again["runs"]] == [False, False]


def test_a_table_alone_asks_for_its_runs(breakyard: Callable[..., Said], tmp_path: Path) -> None:
    """One line, and nothing is begun."""
    (tmp_path / "t.csv").write_text("serial,run,specimen,outcome,note,recorded\r\n00,1,x,,,\r\n")
    alone = breakyard("import", "t.csv", "--session", "s")

    assert alone.status == 2
    assert "the .run file" in alone.complaint
    assert not (tmp_path / "s").exists()


def test_a_run_that_was_cut_off_is_told(
    breakyard: Callable[..., Said], tmp_path: Path, two_runs: tuple[bytes, bytes]
) -> None:
    """It is kept as it is; a line says that it is not whole, and what to do next. The folder was new: that is said."""
    (tmp_path / "cut.run").write_bytes(two_runs[0][: len(two_runs[0]) // 2])

    said = breakyard("import", "cut.run", "--session", "session")

    assert said.status == 0
    assert "not complete" in said.complaint
    assert "next: breakyard next session" in said.out
