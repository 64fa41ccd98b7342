"""Has anything changed that a released version promised to keep?"""

import hashlib
import json
import re

from . import FOLDER, LISTS, TABLE, same

LAYOUTS = (
    ("host", FOLDER.parent / "host" / "breakyard" / "wire" / "layout.py"),
    ("page", FOLDER.parent / "host" / "page" / "wire" / "layout.mjs"),
)


def items(folder=FOLDER / "released", table=TABLE):
    released = sorted(int(path.stem) for path in folder.glob("*.json"))
    for version in released:
        old = json.loads((folder / f"{version}.json").read_text("utf-8"))
        yield from _entries(version, old, table)
        for name, limit in old["limits"].items():
            kept = name in table["limits"] and table["limits"][name]["value"] == limit["value"]
            yield ("ok" if kept else "outdated"), f"released: {version}, {name}"
        for part in ("header", "trailer"):
            yield same(f"released: {version}, {part}", _fields(old[part]), _fields(table[part]))
        for name, entry in old["types"].items():
            found = table["types"].get(name, {})
            yield same(
                f"released: {version}, type {name}",
                entry.get("bytes", "varies"),
                found.get("bytes", "varies"),
            )
        for name, entry in old["uuids"].items():
            yield same(
                f"released: {version}, {name}", entry["value"], table["uuids"].get(name, {}).get("value")
            )
    if released:
        yield from _added(released[-1], folder, table)


def hashes(folder=FOLDER / "released", layouts=LAYOUTS):
    """The table that the implementations say they know is the released one, byte for byte."""
    wanted = hashlib.sha256((folder / f"{TABLE['version']}.json").read_bytes()).digest()[:8]
    for who, path in layouts:
        text = path.read_text("utf-8")
        found = re.search(
            r'^(?:export const )?TABLE\b[^\n]*?(?:fromhex\("([0-9a-f]*)"\)|\[(.*)\])', text, re.MULTILINE
        )
        raw = (found[1] or found[2].replace("0x", "").replace(", ", "")) if found else ""
        yield same(f"{who}: hash of the released table", wanted.hex(), raw)


def _entries(version, old, table):
    for group in ("kinds", "commands", "settings", *LISTS):
        now = {entry["name"]: entry for entry in table[group]}
        for entry in old[group]:
            item = f"released: {version}, {group} {entry['name']}"
            found = now.get(entry["name"])
            yield ("missing" if found is None else "ok" if _kept(entry, found) else "outdated"), item


def _added(version, folder, table):
    """What is new since the latest release says so."""
    old = json.loads((folder / f"{version}.json").read_text("utf-8"))
    for group in ("kinds", "commands", "settings", *LISTS):
        known = {entry["name"] for entry in old[group]}
        for entry in table[group]:
            if entry["name"] not in known and entry["since"] <= version:
                yield "unexpected", f"released: {version}, {group} {entry['name']} is not in it"
        fields = {(e["name"], f["name"]) for e in old[group] for part in _PARTS for f in e.get(part, [])}
        for entry in table[group]:
            for part in _PARTS:
                for field in entry.get(part, []):
                    if (entry["name"], field["name"]) not in fields and field["since"] <= version:
                        yield (
                            "unexpected",
                            f"released: {version}, {entry['name']}.{field['name']} is not in it",
                        )


_PARTS = ("fields", "arguments", "results")
_SAME = ("value", "since", "stored", "from", "unit", "default", "min", "max")


def _kept(old, new):
    """Same number, unit and limits; fields, arguments and results as they were, more of them only behind."""
    if any(old.get(name) != new.get(name) for name in _SAME):
        return False
    return all(
        _fields(new.get(part, []))[: len(old.get(part, []))] == _fields(old.get(part, [])) for part in _PARTS
    )


def _fields(fields):
    return [(field["name"], field["type"], field["unit"], field["since"]) for field in fields]
