"""How a session begins, where it stands, and what is wrong in its files."""

import os
import select
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from breakyard.session.files.keys import SESSION_KEYS

from .conftest import Said

Breakyard = Callable[..., Said]


def pull(path: Path, top: float = 3.2) -> None:
    """A plain brittle pull, in kilonewtons."""
    time = np.arange(0.0, 12.0, 0.02)
    load = np.interp(time, [0.0, 4.0, 8.0, 8.02, 12.0], [0.0, 0.0, top, 0.0, 0.0])
    rows = [f"{t:.2f},{f + 0.0005 * (i % 3):.4f}" for i, (t, f) in enumerate(zip(time, load, strict=True))]
    path.write_text("Time [s],Load [kN]\n" + "\n".join(rows) + "\n")


def steps(said: Said) -> dict[str, str]:
    """The state of each step that `next` tells."""
    return {step["step"]: step["state"] for step in said.document["steps"]}


def test_a_session_is_made_and_explains_itself(breakyard: Breakyard, tmp_path: Path) -> None:
    """Every key that was said is there, every other one is a remark that becomes valid when its # goes."""
    said = breakyard(
        *("new", "quay", "--unit", "kgf", "--place", "quay", "--date", "2026-05-03"),
        *("--latitude", "54.3", "--capacity", "1000 kgf", "--groups", "bonded, screwed", "--each", "2"),
    )
    text = (tmp_path / "quay/session.toml").read_text("utf-8")
    bare = tomllib.loads(
        "\n".join(line.removeprefix("# ") if " = " in line else line for line in text.splitlines())
    )

    assert said.status == 0
    assert tomllib.loads(text)["cell"] == {"capacity": "1000 kgf"}
    assert set(bare) == {
        key.name for key in SESSION_KEYS if not key.ours and (key.example or key.name == "cell")
    }
    assert (tmp_path / "quay/specimens.csv").read_text("utf-8-sig").splitlines()[1:] == [
        *("bonded-1,bonded,,,", "bonded-2,bonded,,,", "screwed-1,screwed,,,", "screwed-2,screwed,,,")
    ]
    assert "specimens.csv" in (tmp_path / "quay/FILES.txt").read_text("utf-8")
    assert said.out.count("breakyard ") == 4  # three commands, and the one that tells where one is


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["new", "full"], "not an empty folder"),
        (["new", "quay/inside"], "lies in"),
        (["new", "quay"], "a session already"),
        (["new", "x", "--unit", "kg"], "kgf"),
        (["new", "x", "--date", "3.5.2026"], "--date"),
        (["new", "x", "--capacity", "1000 kg"], "kgf"),
        (["new", "x", "--groups", "a, a"], "twice"),
        (["new", "x", "--groups", "deck plate, deck-plate"], "same ids"),
    ],
)
def test_what_cannot_begin_is_said_in_one_line(
    breakyard: Breakyard, tmp_path: Path, words: list[str], expected: str
) -> None:
    """Status 2, and nothing is made."""
    (tmp_path / "full").mkdir()
    (tmp_path / "full/photo.jpg").write_bytes(b"")
    breakyard("new", "quay")

    said = breakyard(*words)

    assert said.status == 2
    assert expected in said.complaint
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize(
    "words", [["design", "none"], ["rig", "none"], ["record", "none"], ["import", "a.csv"], ["next", "none"]]
)
def test_where_there_is_no_session_the_command_that_makes_one_is_offered(
    breakyard: Breakyard, tmp_path: Path, words: list[str]
) -> None:
    """Each command that needs a session says which one makes it."""
    pull(tmp_path / "a.csv")

    assert "breakyard new " in breakyard(*words).complaint


def test_the_rig_of_the_template_joins_the_session(breakyard: Breakyard, tmp_path: Path) -> None:
    """It goes into session.toml beside what is there, also where rig = "" stood; a second one is refused.

    As long as it is the example word for word, nobody's rig was checked, and that is said.
    """
    breakyard("new", "quay", "--unit", "kgf")
    file = tmp_path / "quay/session.toml"
    file.write_text(file.read_text("utf-8").replace('unit = "kgf"', 'unit = "kgf"\nrig = ""'), "utf-8")

    said = breakyard("rig", "quay", "--template")
    again = breakyard("rig", "quay", "--template")
    checked = breakyard("rig", "quay", "--json")
    stands = {one["step"]: one for one in breakyard("next", "quay", "--json").document["steps"]}
    file.write_text(file.read_text("utf-8").replace('"600 kgf"', '"590 kgf"'), "utf-8")
    own, own_stands = (breakyard(word, "quay", "--json") for word in ("rig", "next"))
    alone = breakyard("rig", tmp_path, "--template")

    assert said.status == 0
    assert tomllib.loads(file.read_text("utf-8"))["unit"] == "kgf"
    assert "# Latitude of the place" in file.read_text("utf-8")
    assert "there already" in again.complaint
    assert checked.document["schema"].startswith("breakyard.rig")
    assert "still the example, which is nobody's rig" in checked.complaint
    assert (stands["rig"]["state"], stands["rig"]["command"]) == ("to do", "edit [rig] in session.toml")
    assert own.err == ""
    assert {one["step"]: one["state"] for one in own_stands.document["steps"]}["rig"] == "done"
    assert tomllib.loads(alone.out)["rig"]


@pytest.mark.parametrize(
    ("file", "old", "new", "expected"),
    [
        ("session.toml", "unit =", "untis =", 'unknown key "untis"; did you mean unit?'),
        ("session.toml", "capacity =", "capasity =", 'unknown key "capasity"; did you mean capacity?'),
        ("specimens.csv", "group", "grup", 'unknown column "grup"; did you mean group?'),
        ("runs/a.toml", "\nspecimen =", "\nspecimn =", 'unknown key "specimn"; did you mean specimen?'),
    ],
)
def test_a_slip_of_the_hand_is_named_with_the_nearest_right_key(
    breakyard: Breakyard, tmp_path: Path, file: str, old: str, new: str, expected: str
) -> None:
    """`untis` was taken for somebody's own key, and the loads were shown in newtons."""
    pull(tmp_path / "a.csv")
    breakyard("new", "quay", "--unit", "kgf", "--capacity", "1 tf")
    breakyard("import", "a.csv", "--session", "quay", "--specimen", "A")
    path = tmp_path / "quay" / file
    path.write_text(path.read_text("utf-8-sig").replace(old, new, 1), "utf-8")

    said = breakyard("summarize", "quay")

    assert said.status == 2
    assert file in said.complaint
    assert expected in said.complaint


def test_a_key_of_ones_own_is_named_once_and_kept(breakyard: Breakyard, tmp_path: Path) -> None:
    """It disturbs nothing, and nobody has to believe that it was read."""
    pull(tmp_path / "a.csv")
    breakyard("new", "quay")
    breakyard("import", "a.csv", "--session", "quay", "--specimen", "A", "--group", "bonded")
    session, notes = tmp_path / "quay/session.toml", tmp_path / "quay/runs/a.toml"
    for file in (session, notes):
        file.write_text('weather = "rain"\ntemperature_F = 50\n' + file.read_text("utf-8"), "utf-8")

    said = breakyard("summarize", "quay", "--json")

    assert said.status == 0
    assert 'a.toml: "weather" is kept, but nothing reads it' in said.complaint
    assert "rain" in notes.read_text("utf-8")
    assert breakyard("next", "quay", "--json").document["own_keys"] == ["weather"]


def test_where_a_session_stands_is_told_by_its_files(breakyard: Breakyard, tmp_path: Path) -> None:
    """From an empty folder to a report: each step turns to done when it was, and not before; a change turns it back."""
    for name in ("bonded-1", "bonded-2", "screwed-1", "screwed-2"):
        pull(tmp_path / f"{name}.csv", 3.0 if "bonded" in name else 2.0)
    breakyard("new", "quay", "--groups", "bonded, screwed", "--each", "2")
    empty = breakyard("next", "quay", "--json")
    breakyard("import", "bonded-1.csv", "bonded-2.csv", "--session", "quay", "--accuracy", "0.5")
    half = breakyard("next", "quay")
    breakyard("import", "screwed-1.csv", "screwed-2.csv", "--session", "quay", "--accuracy", "0.5")
    pulled = breakyard("next", "quay", "--json")
    breakyard("summarize", "quay")
    breakyard("report", "quay")
    done = breakyard("next", "quay")
    notes = tmp_path / "quay/runs/bonded-1.toml"
    notes.write_text('outcome = "weld"\n' + notes.read_text("utf-8"), "utf-8")
    os.utime(notes, (2e9, 2e9))
    changed = breakyard("next", "quay", "--json")

    assert steps(empty) == {
        "planned": "done",
        "rig": "to do",
        "calibrated": "to do",
        "recorded": "to do",
        "read": "to do",
        "compared": "to do",
        "reported": "to do",
    }
    assert "missing: screwed-1, screwed-2" in half.out
    assert steps(pulled)["recorded"] == "done"
    assert steps(pulled)["calibrated"] == "not needed"
    assert pulled.document["next"]["command"] == "breakyard summarize quay"
    assert "All is done" in done.out
    assert steps(changed)["reported"] == "to do"


def _at_a_terminal(words: list[str], answers: str, folder: Path) -> str:
    """What a command says at a pseudo-terminal to somebody who types answers."""
    pty = pytest.importorskip("pty", reason="no pseudo-terminals on this system")
    child, terminal = pty.fork()
    if child == 0:  # pragma: no cover
        os.chdir(folder)
        os.execv(sys.executable, [sys.executable, "-m", "breakyard", *words])
    os.write(terminal, answers.encode())
    said = b""
    while select.select([terminal], [], [], 60.0)[0]:
        try:
            piece = os.read(terminal, 4096)
        except OSError:  # Linux: the other end is closed
            break
        if not piece:
            break
        said += piece
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) == 0, said
    return said.decode()


def test_a_terminal_is_asked_what_was_not_said(tmp_path: Path) -> None:
    """A wrong unit is asked again; what is left open stays open; a command without a session offers to make one."""
    _at_a_terminal(["new", "quay"], "kg\nkgf\nslipway\n1 tf\n2\nbonded, screwed\n4\n", tmp_path)
    offered = _at_a_terminal(["next", "yard"], "y\nkN\n\n\n\n", tmp_path)

    info: dict[str, Any] = tomllib.loads((tmp_path / "quay/session.toml").read_text("utf-8"))
    assert (info["unit"], info["place"]) == ("kgf", "slipway")
    assert info["cell"] == {"capacity": "1 tf", "rated_output_mv_v": 2.0}
    assert len((tmp_path / "quay/specimens.csv").read_text("utf-8").splitlines()) == 9
    assert "Make one there now?" in offered
    assert tomllib.loads((tmp_path / "yard/session.toml").read_text("utf-8"))["unit"] == "kN"
