"""What the README shows can be run as it is printed."""

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
PLACE = "Ożarów"
"""Letters of Polish, which no Western code page has."""
COMMANDS = re.findall(r"`(breakyard [^`]+)`", README)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the demo has been run, as the README says first; one specimen then has a name of its own."""
    made = tmp_path_factory.mktemp("readme")
    run("breakyard demo", made)
    session = made / "demo-session"
    for path in (session / "specimens.csv", session / "runs" / "S2.toml"):
        text = path.read_text("utf-8-sig")
        assert "S2" in text
        path.write_text(text.replace("S2", PLACE), "utf-8")
    return made


def run(command: str, folder: Path) -> str:
    """Run a printed command with the package under test, under a Western code page; it must say something, in UTF-8."""
    words = [sys.executable, "-m", *shlex.split(command)]
    western = {**os.environ, "PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"}
    done = subprocess.run(words, cwd=folder, capture_output=True, env=western, check=False)
    assert done.returncode == 0, f"{command}: {done.stderr!r}"
    return done.stdout.decode("utf-8")


def test_the_commands_work_as_printed_in_the_order_of_the_table(folder: Path) -> None:
    """Each command of the README runs on the demo's session and prints something."""
    assert len(COMMANDS) >= 7
    for command in COMMANDS:
        said = run(command, folder)
        assert said.strip(), command
        assert PLACE in said or "summarize" not in command


def test_three_recordings_of_any_instrument_become_a_report_in_five_commands(tmp_path: Path) -> None:
    """The second story as printed: three files in three dialects, and nothing edited by hand."""
    story = README.split("## Without a logger", 1)[1].split("```", 2)[1].strip().splitlines()
    time = [at * 0.02 for at in range(600)]
    load = [min(max(t - 4.0, 0.0) * 0.8, 3.2) if t < 8.0 else 0.0 for t in time]  # kilonewtons
    (tmp_path / "glued-1.csv").write_text(
        "Time [s],Load [kN]\n" + "".join(f"{t:.2f},{f:.4f}\n" for t, f in zip(time, load, strict=True))
    )
    (tmp_path / "glued-2.csv").write_text(
        "Zeit [ms];Kraft [N]\n"
        + "".join(
            f"{1000 * t:.0f};{1030 * f:.1f}\n".replace(".", ",") for t, f in zip(time, load, strict=True)
        )
    )
    (tmp_path / "screwed-1.csv").write_text(
        "Pull 3\ntime (s)\tforce (lbf)\n"
        + "".join(f"{t:.2f}\t{160 * f:.2f}\n" for t, f in zip(time, load, strict=True))
    )

    said = [run(command, tmp_path) for command in story]

    assert len(story) == 5
    assert "glued" in said[3]
    assert "screwed" in said[3]
    page = (tmp_path / "quay/results/report.html").read_text("utf-8")
    assert 'class="verdict"' in page
    assert "glued-2" in page


def test_json_names_a_specimen_whatever_the_code_page(folder: Path) -> None:
    """One document, the same letters."""
    pulls = json.loads(run("breakyard summarize demo-session --json", folder))["pulls"]

    assert PLACE in {pull["specimen"] for pull in pulls}


def test_the_two_commands_are_verbs_of_the_task_file() -> None:
    """The two set-up commands exist, and only verbs that exist are named anywhere."""
    verbs = re.findall(
        r"python3 tasks\.py (\w+)", README + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    )
    known = re.findall(
        r'^    "?(\w+)"?: \w+,?', (ROOT / "tasks.py").read_text(encoding="utf-8"), re.MULTILINE
    )
    listed = re.findall(r"python3 tasks\.py (\w+) ", (ROOT / "tasks.py").read_text(encoding="utf-8"))

    assert {"demo", "test"} <= set(verbs)
    assert set(verbs) <= set(listed) | set(known)


@pytest.mark.parametrize("document", sorted(path.relative_to(ROOT).as_posix() for path in [
    *ROOT.glob("*.md"), *(ROOT / "hardware_notes").rglob("*.md"), *(ROOT / "protocol").rglob("*.md"),
    *(ROOT / "firmware").rglob("*.md"), ROOT / "tests" / "README.md",
]))  # fmt: skip
def test_links_between_documents_lead_somewhere(document: str) -> None:
    """A relative link names a file that is there."""
    path = ROOT / document
    links = re.findall(r"\]\((?!https?:|#|mailto:)([^)#\s]+)", path.read_text(encoding="utf-8"))

    missing = [link for link in links if not (path.parent / link).exists()]

    assert missing == []
