"""breakyard weigh and the table [line], as a user says them."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from breakyard.formats.read_csv import parse_csv
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session, open_session
from breakyard.session.weighing import WEIGHED_S

Command = Callable[..., Any]
G = 9.8146
"""m/s2 at 54.3 degrees, by PTB's table to four digits (from memory)."""


def keep(session: Any, name: str, times: list[float], loads: list[float], lasts_s: float = np.inf) -> None:
    """A recording of straight pieces with a swing of 1 % of the load, which dies away within that time."""
    time = np.arange(0.0, times[-1], 0.025)
    load = np.interp(time, times, loads)
    load *= 1.0 + 0.01 * np.exp(-time / lasts_s) * np.sin(2 * np.pi * time / 1.7)
    load += 0.2 * np.random.default_rng(0).standard_normal(len(time))
    data = "time_s,load_N\n" + "\n".join(f"{t:.3f},{f:.3f}" for t, f in zip(time, load, strict=True))
    session.add_recording(
        name, data.encode(), parse_csv(data.encode(), name=name), specimen=name, accuracy=0.0005
    )


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """An engine of 180 kg in slings of 4 kg; and a specimen behind a lever."""
    made = create_session(
        tmp_path / "day", SessionInfo(unit="kgf", latitude_deg=54.3, height_m=10), [Specimen("L1", "lever")]
    )
    keep(made, "engine", [0, 14, 17, 40], [4 * G, 4 * G, 184 * G, 184 * G])
    keep(made, "L1", [0, 3, 13, 13.01, 18], [0, 0, 2000, 0, 0])
    return made.root


def test_an_engine_in_slings(session: Path, breakyard: Command) -> None:
    """The mass within its interval, the slings taken off; the recording is no pull any more."""
    done = breakyard("weigh", session / "runs" / "engine.csv", "--density", "7000")
    told = breakyard("weigh", session / "runs" / "engine.csv", "--json").document
    pulls = breakyard("summarize", session, "--json").document

    assert done.status == 0, done.err
    assert "taken off: 4.0" in done.out
    assert "from latitude 54.3" in done.out
    assert told["tare_kg"] == pytest.approx(4.0, rel=0.02)
    assert told["low_kg"] <= 180.0 <= told["high_kg"]
    assert told["high_kg"] - told["low_kg"] < 3.0
    assert pulls["run"]["name"] == "L1"


def test_the_help_says_what_is_averaged_if_nobody_does(breakyard: Command) -> None:
    assert f"default: {WEIGHED_S:g} s" in " ".join(breakyard("weigh", "--help").out.split())


def test_a_thing_that_hung_all_along_has_no_tare(session: Path, breakyard: Command) -> None:
    """Its own swing is no thing on top of it: said, and weighed with what hung before left out."""
    hung = session / "runs" / "hung.csv"
    keep(open_session(session), "hung", [0, 40], [184 * G, 184 * G], lasts_s=15.0)

    first = breakyard("weigh", hung)
    none = breakyard("weigh", hung, "--tare", "none", "--json").document

    assert first.status == 2
    assert "--tare none" in first.complaint
    assert none["low_kg"] <= 184.0 <= none["high_kg"]


def test_a_stated_tare_in_pounds(session: Path, breakyard: Command) -> None:
    """The whole of what hung less 4 kg, shown in pounds."""
    done = breakyard(
        "weigh", session / "runs" / "engine.csv", "--tare", "4 kg", "--mass-unit", "lb", "--for", "20 s"
    )

    assert done.status == 0, done.err
    assert float(done.out.split("engine: ")[1].split()[0]) == pytest.approx(180 / 0.45359237, rel=0.01)


@pytest.mark.parametrize(
    ("words", "said"),
    [(("--tare", "3 kgf"), "mass"), (("--for", "1 h"), "must be longer"), (("--mass-unit", "N"), "force")],
)
def test_wrong_words(session: Path, breakyard: Command, words: tuple[str, ...], said: str) -> None:
    """One line each."""
    done = breakyard("weigh", session / "runs" / "engine.csv", *words)

    assert done.status == 2
    assert said in done.complaint


def test_a_lever_in_session_toml_or_as_a_column(session: Path, breakyard: Command) -> None:
    """The specimen's load and the cell's, both; a column of the specimen's own goes first."""
    toml = session / "session.toml"
    text = toml.read_text(encoding="utf-8")
    toml.write_text(f"{text}\n[line]\nlever = 2.0\nlever_pm = 0.02\n", encoding="utf-8")
    done = breakyard("summarize", session / "runs" / "L1.csv", "--unit", "N")
    told = breakyard("summarize", session / "runs" / "L1.csv", "--json").document
    (session / "specimens.csv").write_text("id,group,lever\nL1,lever,3\n", encoding="utf-8")
    column = breakyard("summarize", session / "runs" / "L1.csv", "--json").document

    assert done.status == 0, done.err
    assert "At the cell" in done.out
    assert told["peak"]["estimate_n"] == pytest.approx(4000.0, rel=0.02)
    assert told["at_cell"]["peak_n"] == pytest.approx(2000.0, rel=0.02)
    assert column["peak"]["estimate_n"] == pytest.approx(6000.0, rel=0.02)
    assert breakyard("plot", session / "runs" / "L1.csv").status == 0
