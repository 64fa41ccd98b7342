"""Commands on a disk that fails; here a sample of the operations, all of them: tests/bench/faulty_disk_all.py."""

from pathlib import Path

import pytest
from faulty_disk import Disk, Fault, Tree, lay_out

from .faulty_commands import CASES, YARD, Left, make_base, run, sweep

A_SAMPLE = {"report": 1, "compare": 3, "export": 5}
MOST = 8
"""Faults tried of each command; those named draw much."""


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Tree:
    return make_base(tmp_path_factory.mktemp("base"))


@pytest.mark.parametrize("name", list(CASES))
def test_whatever_fails_nothing_is_lost(name: str, base: Tree, tmp_path: Path) -> None:
    """Killed, powerless, full, worn out or read-only at some of its operations, with and without hard links."""
    number = 0

    def chosen(at: int, fault: Fault) -> bool:
        nonlocal number
        number += 1
        # Steps that share no divisor with the number of faults meet each of them at ever other operations.
        return number % 25 == 0 and number // 25 <= A_SAMPLE.get(name, MOST)

    _, tried, wrong = sweep(tmp_path, base, name, chosen)

    assert wrong == []
    assert tried or number < 50


@pytest.mark.parametrize("name", ["fetch", "record", "video"])
def test_whatever_fails_a_logger_and_a_film_lose_nothing(name: str, base: Tree, tmp_path: Path) -> None:
    """The same for the commands that take long."""
    if name == "video":
        pytest.importorskip("av", reason="no PyAV: pip install 'breakyard[video]'")
    number = 0

    def chosen(at: int, fault: Fault) -> bool:
        nonlocal number
        number += 1
        return number in (47, 97)

    _, tried, wrong = sweep(tmp_path, base, name, chosen)

    assert (tried, wrong) == (2, [])


READING = {
    "summarize": ("summarize", YARD),
    "compare": ("compare", YARD),
    "report": ("report", YARD, "--output", "{elsewhere}/page.html"),
    "plot": ("plot", YARD, "--output", "{elsewhere}/pulls.png"),
    "export": ("export", YARD, "--to", "{elsewhere}/curves"),
}


@pytest.mark.parametrize(
    ("name", "fault"),
    # A report takes long to draw, and is written as the others are.
    [(name, fault) for name in READING for fault in (Fault.EROFS, Fault.ENOSPC) if name != "report"]
    + [("report", Fault.EROFS)],
    ids=str,
)
def test_a_medium_that_takes_nothing_is_read(
    name: str, fault: Fault, base: Tree, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was computed is shown, and written where that is possible; one line says what was not kept; status 0."""
    monkeypatch.setenv("COLUMNS", "120")
    card, elsewhere = tmp_path / "card", tmp_path / "elsewhere"
    card.mkdir()
    elsewhere.mkdir()
    words = tuple(word.format(elsewhere=elsewhere) for word in READING[name])

    def give(disk: Disk) -> tuple[Left, dict[str, int]]:
        lay_out(card, base)
        left = run(card, words, disk)
        written = {path.name: path.stat().st_size for path in elsewhere.rglob("*") if path.is_file()}
        lay_out(elsewhere, {})
        return left, written

    sound, written = give(Disk(card))
    left, written_now = give(Disk(card, fault, 0))

    assert (left.status, left.out, sorted(written_now)) == (0, sound.out, sorted(written))
    (line,) = [line for line in left.err.splitlines() if line.startswith("breakyard: ")]
    assert "not kept" in line
    assert {Fault.EROFS: "Read-only file system", Fault.ENOSPC: "No space left"}[fault] in line


def test_another_place_is_offered(base: Tree, tmp_path: Path) -> None:
    """Where the picture would lie in a session that takes no writing."""
    lay_out(tmp_path, base)
    left = run(tmp_path, ("plot", f"{YARD}/runs/A1.csv"), Disk(tmp_path, Fault.EROFS, 0))

    assert left.status == 2
    assert "(Read-only file system); name another place with --output" in left.err
