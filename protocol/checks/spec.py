"""Does SPEC.md say what the table says?

A table stands between <!-- table: NAME --> and <!-- end -->; only these lines are ever rewritten. A hex example stands
between <!-- vector: FILE/ID FIELD --> and <!-- end -->, with remarks after semicolons. Every vector id named in the
text must exist.
"""

import json
import re

from . import FOLDER, LISTS, TABLE, same

SPEC = FOLDER / "SPEC.md"
_MARKED = re.compile(r"<!-- table: ([^>]+?) -->\n(.*?)<!-- end -->", re.DOTALL)
_EXAMPLE = re.compile(r"<!-- vector: (\w+)/([\w-]+) (\w+) -->\n```\n(.*?)```\n<!-- end -->", re.DOTALL)
_REMARK = re.compile(r";.*")
_ID = re.compile(r"`(valid|invalid|streams|conversations|seals|sessions)/([\w-]+)`")


def tables():
    """The rows of every table by its name."""
    made = {
        "header": _fields(TABLE["header"], 0),
        "trailer": _fields(TABLE["trailer"], None),
        "types": _types(),
    }
    made["limits"] = _rows(
        ("limit", "value", "unit", "meaning"),
        [(f"`{n}`", e["value"], e["unit"] or "", e["doc"]) for n, e in TABLE["limits"].items()],
    )
    made["kinds"] = _rows(
        ("kind", "name", "from", "stored", "meaning"),
        [
            (k["value"], f"`{k['name']}`", k["from"], "yes" if k["stored"] else "no", k["doc"])
            for k in TABLE["kinds"]
        ],
    )
    for kind in TABLE["kinds"]:
        made[kind["name"]] = _fields(kind["fields"], 8)
    for command in TABLE["commands"]:
        made[f"command {command['name']}"] = _command(command)
    made["settings"] = _rows(
        ("number", "name", "unit", "default", "lowest", "highest", "meaning"),
        [
            (s["value"], f"`{s['name']}`", s["unit"] or "", s["default"], s["min"], s["max"], s["doc"])
            for s in TABLE["settings"]
        ],
    )
    made["uuids"] = _rows(
        ("name", "UUID", "meaning"),
        [(f"`{n}`", f"`{e['value']}`", e["doc"]) for n, e in TABLE["uuids"].items()],
    )
    for group in LISTS:
        made[group] = _rows(
            ("number", "name", "meaning"), [(e["value"], f"`{e['name']}`", e["doc"]) for e in TABLE[group]]
        )
    return made


def headings():
    """Headings that must be there, each once."""
    yield from (f"### {kind['name']} (kind {kind['value']})" for kind in TABLE["kinds"])
    yield from (f"### {command['name']} (command {command['value']})" for command in TABLE["commands"])


def items():
    if not SPEC.exists():
        yield "missing", "SPEC.md"
        return
    text = SPEC.read_text("utf-8")
    wanted, found = tables(), dict(_MARKED.findall(text))
    for name in sorted(wanted | found):
        yield same(f"SPEC.md: table {name}", wanted.get(name), found.get(name))
    lines = text.splitlines()
    for heading in headings():
        yield same(f"SPEC.md: heading {heading}", 1, lines.count(heading) or None)
    for line in lines:
        if re.match(r"### \w+ \((kind|command) \d+\)", line) and line not in list(headings()):
            yield "unexpected", f"SPEC.md: heading {line}"
    known = _vectors()
    for file, name, part, shown in _EXAMPLE.findall(text):
        bare = "".join(_REMARK.sub("", shown).split())
        yield same(f"SPEC.md: example {file}/{name}", known.get((file, name), {}).get(part), bare)
    for file, name in sorted(set(_ID.findall(text))):
        yield ("ok" if (file, name) in known else "missing"), f"SPEC.md: vector {file}/{name}"
    musts = [line for line in lines if "MUST" in line and not line.startswith("The words MUST")]
    for line in musts:
        yield ("ok" if _ID.search(line) else "missing"), f"SPEC.md: a vector beside: {line[:90]}"


def fix():
    """Rewrite the tables between markers; everything else is ours and stays."""
    made = tables()

    def replaced(match):
        name = match[1]
        return f"<!-- table: {name} -->\n{made.get(name, match[2])}<!-- end -->"

    text = SPEC.read_text("utf-8")
    fixed = _MARKED.sub(replaced, text)
    if fixed != text:
        SPEC.write_text(fixed, "utf-8")


def _vectors():
    known = {}
    for file in ("valid", "invalid", "streams", "conversations", "seals", "sessions"):
        path = FOLDER / "vectors" / f"{file}.json"
        if path.exists():
            for case in json.loads(path.read_text("utf-8"))["cases"]:
                known[file, case["id"]] = case
    return known


def _rows(head, rows):
    lines = [head, tuple("---" for _ in head), *rows]
    return "".join("| " + " | ".join(str(cell) for cell in line) + " |\n" for line in lines)


def _fields(fields, offset):
    """A byte table; the place is known up to the first field of variable size."""
    rows = []
    for field in fields:
        size = TABLE["types"][field["type"]].get("bytes")
        place = "" if offset is None else offset
        rows.append(
            (place, size or "varies", f"`{field['name']}`", field["type"], field["unit"] or "", field["doc"])
        )
        offset = None if offset is None or size is None else offset + size
    return _rows(("byte", "size", "field", "type", "unit", "meaning"), rows)


def _command(command):
    rows = []
    for part in ("arguments", "results"):
        for field in command[part]:
            size = TABLE["types"][field["type"]].get("bytes") or "varies"
            rows.append(
                (part[:-1], size, f"`{field['name']}`", field["type"], field["unit"] or "", field["doc"])
            )
    if not rows:
        return "No arguments, no results.\n"
    return _rows(("part", "size", "name", "type", "unit", "meaning"), rows)


def _types():
    rows = [
        (f"`{name}`", entry.get("bytes", "varies"), entry.get("doc", ""))
        for name, entry in TABLE["types"].items()
    ]
    return _rows(("type", "bytes", "meaning"), rows)
