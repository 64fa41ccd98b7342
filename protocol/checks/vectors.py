"""Are the vectors what build_vectors.py writes, and do they cover the table?"""

import json

from . import FOLDER, TABLE


def items():
    try:
        import build_vectors
    except ModuleNotFoundError as error:
        yield (
            "missing",
            f"vectors: {error.name} is not installed, so they cannot be rebuilt (pip install cobs)",
        )
        return
    yield from ((verdict, f"vectors/{name}") for name, verdict in build_vectors.compare())
    yield from coverage()


def coverage():
    """Every kind, every number of a list that a record can carry, every reason of damage has a case."""
    valid, invalid = _cases("valid"), _cases("invalid")
    names = {case["name"] for case in valid}
    for kind in TABLE["kinds"]:
        yield _verdict(kind["name"] in names, f"vectors: a valid {kind['name']}")
        newer = any(case["name"] == kind["name"] and case["version"] > 1 for case in valid)
        yield _verdict(newer, f"vectors: a newer {kind['name']}")
        short = any(case["error"] == "BAD_LENGTH" and _kind(case) == kind["value"] for case in invalid)
        yield _verdict(short, f"vectors: a {kind['name']} of wrong length")
    for reason in TABLE["damage"]:
        yield _verdict(any(case["error"] == reason["name"] for case in invalid), f"vectors: {reason['name']}")
    qualities = {
        q
        for case in valid
        if "samples" in case["fields"] and case["name"] == "SAMPLES"
        for q in case["fields"]["samples"]["quality"]
    }
    for quality in TABLE["qualities"]:
        yield _verdict(quality["value"] in qualities, f"vectors: quality {quality['name']}")
    for group, kind, field in (
        ("end_causes", "RUN_END", "cause"),
        ("begin_causes", "RUN_BEGIN", "cause"),
        ("states", "STATUS", "state"),
        ("faults", "STATUS", "fault"),
        ("overloads", "STATUS", "overload"),
        ("reset_causes", "STATUS", "reset_cause"),
        ("marks", "MARK", "code"),
        ("errors", "ANSWER", "error"),
        ("commands", "COMMAND", "command"),
        ("commands", "ANSWER", "command"),
    ):
        seen = {case["fields"][field] for case in valid if case["name"] == kind}
        for entry in TABLE[group]:
            yield _verdict(entry["value"] in seen, f"vectors: {kind} with {field} {entry['name']}")


def _cases(name):
    path = FOLDER / "vectors" / f"{name}.json"
    return json.loads(path.read_text("utf-8"))["cases"] if path.exists() else []


def _kind(case):
    return int(case["record"][:2], 16) if case["record"] else None


def _verdict(good, item):
    return ("ok" if good else "missing"), item
