"""The table is sound, and everything that restates it says the same (protocol/check.py, item by item)."""

import copy
import json
import re
import shutil
import subprocess
import sys

import pytest


@pytest.fixture(scope="session")
def verdicts(protocol_folder):
    """What check.py prints, by item."""
    done = subprocess.run(
        [sys.executable, str(protocol_folder / "check.py"), "--all"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert not done.stderr
    return {line[10:].strip(): line[:10].strip() for line in done.stdout.splitlines()[:-1]}


@pytest.mark.parametrize("topic", ["table", "SPEC.md", "host", "firmware", "vectors"])
def test_everything_equals_the_table(verdicts, topic):
    """Nothing is outdated, missing or unexpected, in either direction."""
    of_topic = {
        item: verdict for item, verdict in verdicts.items() if re.match(rf"{re.escape(topic)}[:/]", item)
    }

    assert len(of_topic) >= 4
    assert {item: verdict for item, verdict in of_topic.items() if verdict != "ok"} == {}


def test_a_changed_table_is_noticed(protocol_folder, tmp_path):
    """The check is not blind: another number, a lost field and a foreign heading are each named."""
    twin = tmp_path / "protocol"
    shutil.copytree(protocol_folder, twin)
    shutil.copytree(
        protocol_folder.parent / "host", tmp_path / "host", ignore=shutil.ignore_patterns("__pycache__")
    )
    table = (twin / "records.json").read_text("utf-8")
    assert table.count('"value": 257') == 1
    table = table.replace('"value": 257', '"value": 258').replace('"name": "serial"', '"name": "number"')
    (twin / "records.json").write_text(table, "utf-8")
    with (twin / "SPEC.md").open("a", encoding="utf-8") as spec:
        spec.write("\n### GREETING (kind 99)\n")
    done = subprocess.run(
        [sys.executable, str(twin / "check.py")], capture_output=True, text=True, check=False
    )

    assert done.returncode == 1
    assert "outdated   host: MAX_FRAME" in done.stdout
    assert "outdated   host: fields of IDENTITY" in done.stdout
    assert "outdated   SPEC.md: table limits" in done.stdout
    assert "unexpected SPEC.md: heading ### GREETING (kind 99)" in done.stdout


def test_fix_rewrites_only_what_is_between_markers(protocol_folder, tmp_path):
    """--fix restores a spoilt table and leaves prose alone."""
    twin = tmp_path / "protocol"
    shutil.copytree(protocol_folder, twin)
    shutil.copytree(
        protocol_folder.parent / "host", tmp_path / "host", ignore=shutil.ignore_patterns("__pycache__")
    )
    original = (twin / "SPEC.md").read_text("utf-8")
    spoilt = original.replace("| 0 | 1 | `kind` |", "| 0 | 9 | `kindness` |").replace(
        "# The Break", "# Our Break"
    )
    assert spoilt != original
    (twin / "SPEC.md").write_text(spoilt, "utf-8")
    subprocess.run([sys.executable, str(twin / "check.py"), "--fix"], capture_output=True, check=False)

    assert (twin / "SPEC.md").read_text("utf-8") == original.replace("# The Break", "# Our Break")


def test_a_broken_promise_is_noticed(protocol_folder, table, tmp_path, monkeypatch):
    """Against a released table, a new last field is fine; renumbering or another type is not."""
    monkeypatch.syspath_prepend(str(protocol_folder))
    from checks import released

    (tmp_path / "1.json").write_text(json.dumps(table), "utf-8")
    grown = copy.deepcopy(table)
    grown["kinds"][4]["fields"].append({"name": "more", "type": "u8", "unit": None, "since": 2, "doc": ""})
    changed = copy.deepcopy(table)
    changed["kinds"][4]["fields"][0]["type"] = "u16"
    changed["errors"][3]["value"] = 33
    del changed["commands"][11]

    assert {verdict for verdict, _ in released.items(tmp_path, grown)} == {"ok"}
    assert [pair for pair in released.items(tmp_path, changed) if pair[0] != "ok"] == [
        ("outdated", "released: 1, kinds MARK"),
        ("missing", "released: 1, commands ERASE"),
        ("outdated", "released: 1, errors BAD_STATE"),
    ]


def test_vectors_rebuild_byte_for_byte(protocol_folder):
    """build_vectors.py writes exactly the files that are kept."""
    pytest.importorskip("cobs", reason="the package cobs stuffs the vectors")
    done = subprocess.run(
        [sys.executable, str(protocol_folder / "build_vectors.py"), "--check"],
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.stdout.split() == [
        word
        for name in ("valid", "invalid", "streams", "seals", "conversations", "sessions")
        for word in ("ok", f"vectors/{name}.json")
    ]


def test_builder_knows_neither_codec(protocol_folder):
    """The vectors would prove little if one of the codecs under test had written them."""
    sources = [protocol_folder / "build_vectors.py", *(protocol_folder / "vector_cases").glob("*.py")]
    imported = {line for path in sources for line in path.read_text("utf-8").splitlines() if "import" in line}

    assert len(sources) >= 6
    assert not [line for line in imported if "breakyard" in line or "logger" in line.split()]
