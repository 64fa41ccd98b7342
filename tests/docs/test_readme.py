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
