"""breakyard import: what was read is told back, several files at once, calibrations, and what a silent user gets."""

import os
import pty
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from terminal import Terminal

from breakyard.session.recordings import load_counts
from breakyard.simulate.calibrations import calibration_recording

Breakyard = Callable[..., Any]


def pull(path: Path, *, header: str = "Time [s],Load [kN]", top: float = 3.2, scale: float = 1.0) -> Path:
    """A plain brittle pull, in kilonewtons."""
    time = np.arange(0.0, 12.0, 0.02)
    load = np.interp(time, [0.0, 4.0, 8.0, 8.02, 12.0], [0.0, 0.0, top, 0.0, 0.0])
    lines = [
        f"{t:.2f},{scale * f + 0.0005 * (i % 3):.4f}" for i, (t, f) in enumerate(zip(time, load, strict=True))
    ]
    path.write_text(header + "\n" + "\n".join(lines) + "\n")
    return path


def staircase(path: Path, header: str = "time,counts") -> Path:
    """The counts of masses hung one after another, as another instrument's table."""
    _, read, _ = calibration_recording(4)
    rows = [f"{t:.4f},{c}" for t, c in zip(read.time_s, read.counts, strict=True)]
    path.write_text(header + "\n" + "\n".join(rows) + "\n")
    return path


MASSES = "0, 20 kg, 40 kg, 60 kg, 40 kg, 20 kg, 0"


def test_units_of_load_and_clock_are_told_back(breakyard: Breakyard, tmp_path: Path) -> None:
    pull(tmp_path / "a.csv")
    said = breakyard("import", "a.csv", "--session", "yard")

    assert 'load from column "Load [kN]" in kN; time from column "Time [s]" in s' in said.out
    assert "loads from 0 to 3200.5 N" in said.out
    assert "600 samples over 11.98 s" in said.out


def test_a_session_that_is_made_is_told(breakyard: Breakyard, tmp_path: Path) -> None:
    """A slip in a session's name makes another one: the first line says so, and only when it was made."""
    pull(tmp_path / "a.csv")

    first, again = (breakyard("import", "a.csv", "--session", "yrad") for _ in range(2))

    assert first.out.startswith("made: yrad, a new session\n")
    assert "made:" not in again.out


def test_a_decimal_comma_in_an_option_gets_a_hint(breakyard: Breakyard, tmp_path: Path) -> None:
    """Files may have one, options have a point: what was meant is written out."""
    pull(tmp_path / "a.csv")

    said = breakyard("import", "a.csv", "--session", "yard", "--accuracy", "0,5")

    assert said.status == 2
    assert said.err.rstrip().endswith("numbers of options have a decimal point: 0.5")
    assert not (tmp_path / "yard").exists()


def test_a_silent_user_gets_the_wide_accuracy_and_is_told(breakyard: Breakyard, tmp_path: Path) -> None:
    pull(tmp_path / "a.csv")
    silent = breakyard("import", "a.csv", "--session", "yard")
    document = breakyard("import", "a.csv", "--session", "yard", "--json").document
    stated = breakyard("import", "a.csv", "--session", "yard", "--accuracy", "0.1")

    assert "accuracy: not stated, so 1 % of the load (standard uncertainty) is assumed" in silent.out
    assert (document["accuracy"], document["accuracy_assumed"]) == (None, 0.01)
    assert "accuracy: 0.1 % of the load (standard uncertainty), as stated" in stated.out


def test_the_report_never_says_that_somebody_stated_what_nobody_did(
    breakyard: Breakyard, tmp_path: Path
) -> None:
    """And what was said is in its words: stated, or assumed; a silent user's interval is the wider one."""
    pull(tmp_path / "a.csv")
    breakyard("import", "a.csv", "--session", "silent")
    breakyard("import", "a.csv", "--session", "said", "--accuracy", "0.1")
    pages, widths = {}, {}
    for name in ("silent", "said"):
        breakyard("report", name, "--output", f"{name}.html")
        pages[name] = (tmp_path / f"{name}.html").read_text()
        peak = breakyard("summarize", name, "--json").document["peak"]
        widths[name] = peak["high_n"] - peak["low_n"]

    assert "their owner stated" not in pages["silent"]
    assert "nobody stated their accuracy, 1 % of the load" in pages["silent"]
    assert "their owner stated" in pages["said"]
    assert widths["silent"] > 3 * widths["said"]


def test_several_files_at_once(breakyard: Breakyard, tmp_path: Path) -> None:
    for name in ("a", "b", "c"):
        pull(tmp_path / f"{name}.csv")
    said = breakyard("import", "a.csv", "b.csv", "c.csv", "--session", "yard", "--accuracy", "0.5")

    assert said.status == 0
    assert said.out.count("kept: ") == 3
    assert "next: breakyard summarize" in said.out
    assert len(breakyard("summarize", "yard", "--json").document["pulls"]) == 3


def test_one_bad_file_does_not_stop_the_others(breakyard: Breakyard, tmp_path: Path) -> None:
    pull(tmp_path / "a.csv")
    (tmp_path / "bad.csv").write_text("Time [s],Load [kg]\n0,1\n1,2\n2,3\n")
    pull(tmp_path / "c.csv")
    said = breakyard("import", "a.csv", "bad.csv", "missing.csv", "c.csv", "--session", "yard", "--json")

    assert said.status == 2
    assert [one["name"] for one in said.document["recordings"]] == ["a", "c"]
    assert [one["file"] for one in said.document["refused"]] == ["bad.csv", "missing.csv"]
    assert "kgf" in said.err
    assert "missing.csv" in said.err


def test_nothing_is_made_when_nothing_was_read(breakyard: Breakyard, tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("Time [s],Load [kg]\n0,1\n1,2\n2,3\n")

    assert breakyard("import", "bad.csv", "--session", "yard").status == 2
    assert not (tmp_path / "yard").exists()


def test_one_name_for_several_files_is_refused(breakyard: Breakyard, tmp_path: Path) -> None:
    pull(tmp_path / "a.csv")
    pull(tmp_path / "b.csv")

    assert "--name" in breakyard("import", "a.csv", "b.csv", "--session", "yard", "--name", "x").complaint
    assert (
        "--specimen"
        in breakyard("import", "a.csv", "b.csv", "--session", "yard", "--specimen", "x").complaint
    )


def test_a_bare_unit_in_the_header_is_not_overruled(breakyard: Breakyard, tmp_path: Path) -> None:
    """`time,kgf` read with kN once read 3283 N as 334 820 N."""
    pull(tmp_path / "a.csv", header="time,kgf", scale=100.0)

    said = breakyard("import", "a.csv", "--session", "yard", "--load-unit", "kN")
    assert said.status == 2
    assert "the header says kgf" in said.complaint
    document = breakyard("import", "a.csv", "--session", "yard", "--json").document
    assert document["largest_n"] == pytest.approx(320.0 * 9.80665, rel=1e-4)


def test_unit_means_the_unit_shown(breakyard: Breakyard, tmp_path: Path) -> None:
    """--unit changes what is shown, never how the file is read; a session that is made shows it from then on."""
    pull(tmp_path / "a.csv", header="time,kgf", scale=100.0)

    said = breakyard("import", "a.csv", "--session", "yard", "--unit", "kN")

    assert said.status == 0
    assert "3.1381 kN (0 to 3138.1 N)" in said.out
    assert 'unit = "kN"' in (tmp_path / "yard/session.toml").read_text("utf-8")
    assert "kgf" in (tmp_path / "yard/runs/a.toml").read_text("utf-8")


def test_a_group_is_put_into_the_table(breakyard: Breakyard, tmp_path: Path) -> None:
    """--group gives each file's specimen its row; one that is in another group already is refused, nothing kept."""
    for name in ("a", "b", "c"):
        pull(tmp_path / f"{name}.csv")

    first = breakyard("import", "a.csv", "b.csv", "--session", "yard", "--group", "bonded")
    second = breakyard("import", "c.csv", "--session", "yard", "--specimen", "b", "--group", "screwed")
    masses = breakyard("import", "c.csv", "--session", "yard", "--group", "bonded", "--calibration")

    assert first.status == 0
    rows = (tmp_path / "yard/specimens.csv").read_text("utf-8-sig").splitlines()
    assert rows[1:] == ["a,bonded,,,", "b,bonded,,,"]
    assert '"b" is in the group "bonded"' in second.complaint
    assert "known masses" in masses.complaint
    assert not (tmp_path / "yard/runs/c.csv").exists()


def test_an_extension_can_be_left_aside(breakyard: Breakyard, tmp_path: Path) -> None:
    lines = [f"{i * 0.02:.2f},{i * 0.01:.3f},{i}" for i in range(100)]
    (tmp_path / "a.csv").write_text("Time [s],Travel [mm],Load [N]\n" + "\n".join(lines) + "\n")

    assert "extension from" in breakyard("import", "a.csv", "--session", "yard").out
    said = breakyard("import", "a.csv", "--session", "yard", "--extension-column", "none")
    assert "extension from" not in said.out
    notes = tomllib.loads((tmp_path / "yard/runs/a.toml").read_text())
    assert notes["import"]["extension_column"] == "none"


def test_what_was_not_taken_as_it_stood_is_told(breakyard: Breakyard, tmp_path: Path) -> None:
    path = pull(tmp_path / "a.csv")
    lines = path.read_text().replace("\n0.44,", "\n0.42,").splitlines()
    lines[60] = lines[60].split(",")[0] + ",nan"
    path.write_text("\n".join([*lines, "End of test,"]) + "\n")
    said = breakyard("import", "a.csv", "--session", "yard")

    assert said.status == 0
    assert "note: 1 row repeats the time of the row before" in said.out
    assert "note: 1 row had no load" in said.out
    assert 'note: row 602 ("End of test,") held no numbers' in said.out


def test_utf_16_as_powershell_writes_it(breakyard: Breakyard, tmp_path: Path) -> None:
    path = pull(tmp_path / "a.csv")
    path.write_bytes(path.read_text().replace("\n", "\r\n").encode("utf-16"))

    assert breakyard("import", "a.csv", "--session", "yard", "--json").document["samples"] == 600


def test_a_calibration_is_no_pull(breakyard: Breakyard, tmp_path: Path) -> None:
    """Marked by import, or by the calibrate that used it; and its plain `time` header is no dead end."""
    staircase(tmp_path / "masses.csv")
    pull(tmp_path / "a.csv")
    breakyard("import", "a.csv", "--session", "yard")
    said = breakyard("import", "masses.csv", "--session", "yard", "--calibration")

    assert said.status == 0
    assert "next: breakyard calibrate yard/runs/masses.csv" in said.out.replace(str(tmp_path) + "/", "")
    summaries = breakyard("summarize", "yard", "--json").document
    assert summaries["schema"] == "breakyard.summary/1"  # one pull, not two
    made = breakyard("calibrate", "yard/runs/masses.csv", "--masses", MASSES, "--json")
    assert made.document["schema"] == "breakyard.calibration/1"


def test_calibrate_marks_what_it_used(breakyard: Breakyard, tmp_path: Path) -> None:
    staircase(tmp_path / "masses.csv")
    pull(tmp_path / "a.csv")
    breakyard("import", "a.csv", "masses.csv", "--session", "yard")
    breakyard("calibrate", "yard/runs/masses.csv", "--masses", MASSES)

    assert breakyard("summarize", "yard", "--json").document["schema"] == "breakyard.summary/1"
    assert tomllib.loads((tmp_path / "yard/runs/masses.toml").read_text())["purpose"] == "calibration"


def test_a_calibration_of_loads_is_refused(breakyard: Breakyard, tmp_path: Path) -> None:
    pull(tmp_path / "a.csv")

    assert (
        "holds loads, not counts"
        in breakyard("import", "a.csv", "--session", "yard", "--calibration").complaint
    )


def test_calibrate_says_where_its_options_for_a_table_are(breakyard: Breakyard, tmp_path: Path) -> None:
    """Whole seconds could be anything: the way out is import, whose reading calibrate then takes."""
    rows = [f"{i},{1000 + (i // 20) * 50_000 + i % 3}" for i in range(60)]
    (tmp_path / "masses.csv").write_text("time,counts\n" + "\n".join(rows) + "\n")
    words = ("calibrate", "masses.csv", "--masses", "0, 20 kg, 40 kg")

    assert "options of breakyard import" in breakyard(*words).complaint
    breakyard("import", "masses.csv", "--session", "yard", "--calibration", "--time-unit", "s")
    assert load_counts(tmp_path / "yard/runs/masses.csv").time_s.tolist() == list(range(60))


@pytest.mark.skipif(os.name == "nt", reason="no pseudo-terminals there")
@pytest.mark.parametrize(
    ("answers", "expected"), [("0,5 %\n", "0.5 %"), ("\n", "1 %"), ("lots\n0.2\n", "0.2 %")]
)
def test_in_a_terminal_the_accuracy_is_asked_for(tmp_path: Path, answers: str, expected: str) -> None:
    """Through a real pseudo-terminal: a number, Enter alone, and a wrong answer first."""
    pull(tmp_path / "a.csv")
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "breakyard", "import", "a.csv", "--session", "yard"],
        cwd=tmp_path,
        stdin=theirs,
        stdout=subprocess.PIPE,
        stderr=theirs,
        text=True,
    )
    os.close(theirs)
    os.write(ours, answers.encode())
    out, _ = process.communicate()
    os.close(ours)

    assert process.returncode == 0
    assert f"{expected} of the load" in out


def test_in_a_terminal_the_converter_is_asked_for_until_it_is_understood(tmp_path: Path) -> None:
    """Counts that fit any converter: a wrong answer is told and asked again, a right one is kept beside the run."""
    counts = np.round(np.interp(np.arange(0.0, 10.0, 0.0125), [0, 3, 8, 8.01, 10], [5e4, 5e4, 9e5, 5e4, 5e4]))
    rows = [f"{0.0125 * i:.4f},{one + i % 7:.0f}" for i, one in enumerate(counts)]
    recording = tmp_path / "counts.csv"
    recording.write_text("time (s),counts\n" + "\n".join(rows) + "\n", encoding="utf-8")
    asked = Terminal("import", str(recording), "--session", str(tmp_path / "day"))
    try:
        asked.wait_for(b"Which converter")
        asked.press(b"hx712\n")
        asked.wait_for(b"hx712")
        asked.press(b"hx711-64\n")

        assert asked.status() == 0, asked.seen
    finally:
        asked.close()
    assert asked.seen.count(b"Which converter") == 2
    assert b"as stated" in asked.seen
    assert "hx711-64" in (tmp_path / "day" / "runs" / "counts.toml").read_text(encoding="utf-8")
