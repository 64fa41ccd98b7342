"""Has anything changed that a released version promised to keep?"""

import json

from . import FOLDER, LISTS, TABLE


def items(folder=FOLDER / "released", table=TABLE):
    for path in sorted(folder.glob("*.json")):
        old = json.loads(path.read_text("utf-8"))
        for group in ("kinds", "commands", "settings", *LISTS):
            now = {entry["name"]: entry for entry in table[group]}
            for entry in old[group]:
                item = f"released: {path.stem}, {group} {entry['name']}"
                found = now.get(entry["name"])
                yield ("missing" if found is None else "ok" if _kept(entry, found) else "outdated"), item
        for name, limit in old["limits"].items():
            same = name in table["limits"] and table["limits"][name]["value"] == limit["value"]
            yield ("ok" if same else "outdated"), f"released: {path.stem}, {name}"


def _kept(old, new):
    """Same number; fields, arguments and results as they were, more of them only behind."""
    if old["value"] != new["value"] or old["since"] != new["since"]:
        return False
    for part in ("fields", "arguments", "results"):
        before = [(f["name"], f["type"], f["unit"]) for f in old.get(part, [])]
        after = [(f["name"], f["type"], f["unit"]) for f in new.get(part, [])]
        if after[: len(before)] != before:
            return False
    return True
