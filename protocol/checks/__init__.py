"""What check.py compares; each module yields (verdict, item)."""

import json
from pathlib import Path

FOLDER = Path(__file__).resolve().parent.parent
TABLE = json.loads((FOLDER / "records.json").read_text("utf-8"))
LISTS = {
    "states": "State",
    "inputs": "Input",
    "qualities": "Quality",
    "begin_causes": "BeginCause",
    "end_causes": "EndCause",
    "marks": "MarkCode",
    "levels": "Level",
    "errors": "Error",
    "accesses": "Access",
    "privacies": "Privacy",
    "faults": "Fault",
    "overloads": "Overload",
    "reset_causes": "ResetCause",
    "store_tests": "StoreTest",
    "damage": "Damage",
}
"""Lists of numbered names in the table, and what the host calls each."""


def same(item, wanted, found):
    """One verdict about something that may be absent on either side."""
    if found is None:
        return "missing", item
    if wanted is None:
        return "unexpected", item
    return ("ok" if wanted == found else "outdated"), item
