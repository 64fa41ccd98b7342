"""breakyard proof, as a user says it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from breakyard.formats.read_csv import parse_csv
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session

Command = Callable[..., Any]


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """Two anchors: one held at 5.2 kN for 65 s, one at 5.02 kN; by an instrument of 0.1 %."""
    columns = [{"proof_load": "500 kgf", "proof_s": "60"}, {"proof_load": "", "proof_s": ""}]
    rows = [Specimen(f"A{i + 1}", "pegs", more=more) for i, more in enumerate(columns)]
    made = create_session(tmp_path / "day", SessionInfo(unit="kgf"), rows)
    for one, level in zip(rows, (5200.0, 4905.0), strict=True):
        time = np.arange(0.0, 90.0, 0.05)
        load = np.interp(time, [0, 3, 10, 75, 80, 90], [0, 0, level, level, 0, 0])
        load += 0.2 * np.random.default_rng(0).standard_normal(len(time))
        data = "time_s,load_N\n" + "\n".join(f"{t:.2f},{f:.3f}" for t, f in zip(time, load, strict=True))
        made.add_recording(
            one.id, data.encode(), parse_csv(data.encode(), name=one.id), specimen=one.id, accuracy=0.001
        )
    return made.root


def test_loads_of_the_table(session: Path, breakyard: Command) -> None:
    """Only the specimen that has a proof load is asked; what is held is said without a rating."""
    done = breakyard("proof", session)

    assert done.status == 0, done.err
    assert "A1: held 500 kgf for 60 s: never below" in done.out
    assert "A2" not in done.out
    assert "no rating" in done.out


def test_a_load_for_all(session: Path, breakyard: Command) -> None:
    """One held, one within the guard band, with what to aim for; status 1."""
    done = breakyard("proof", session, "--load", "500 kgf", "--for", "1 min")
    told = breakyard("proof", session, "--load", "500 kgf", "--for", "60 s", "--json").document

    assert done.status == 1
    assert "! A2: not shown: asked 500 kgf for 60 s" in done.out
    assert "aim for 50" in done.out
    assert [one["proof"]["verdict"] for one in told["pulls"]] == ["held", "not shown"]
    assert not any(word in done.out.lower() for word in ("rated", "safe"))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--load", "500 kg", "--for", "60 s"), "kgf"),
        (("--load", "500 kgf", "--for", "soon"), "--for"),
    ],
)
def test_a_wrong_word_is_one_line(
    session: Path, breakyard: Command, words: tuple[str, ...], said: str
) -> None:
    """With what to write instead."""
    done = breakyard("proof", session, *words)

    assert done.status == 2
    assert said in done.complaint


def test_a_load_without_a_time_asks_for_it(session: Path, breakyard: Command) -> None:
    """The specimen's name, and both ways to say it."""
    done = breakyard("proof", session / "runs" / "A2.csv", "--load", "500 kgf")

    assert done.status == 2
    assert "A2: for how long?" in done.complaint


def test_nothing_asked_is_told(session: Path, breakyard: Command) -> None:
    """How to ask."""
    done = breakyard("proof", session / "runs" / "A2.csv")

    assert done.status == 2
    assert "--load" in done.complaint
