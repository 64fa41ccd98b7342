"""Do the constants of host and firmware say what the table says, no more and no less?"""

import ast
import re

from . import FOLDER, LISTS, TABLE, same

FIRMWARE = FOLDER.parent / "firmware" / "logger" / "core" / "layout.py"
LETTERS = {
    "u8": "B",
    "u16": "H",
    "u32": "I",
    "i24": "i",
    "f32": "f",
    "bytes8": "8",
    "bytes32": "S",
    "text": "t",
    "samples": "s",
    "means": "m",
    "rest": "*",
}


LINKS = (
    ("firmware", FOLDER.parent / "firmware" / "logger" / "links" / "ble.py"),
    ("host", FOLDER.parent / "host" / "breakyard" / "device" / "link" / "ble.py"),
)


def items():
    yield from host()
    yield from firmware()
    yield from links()


def links():
    """UUIDs stand where the links are made, not in the layouts: a link knows no records."""
    for who, path in LINKS:
        text = path.read_text("utf-8") if path.exists() else ""
        found = dict(re.findall(r'^(\w+_UUID)(?:: Final)? = "([0-9a-f-]{36})"', text, re.MULTILINE))
        wanted = {name: entry["value"] for name, entry in TABLE["uuids"].items()}
        for name in sorted(wanted | found):
            yield same(f"{who}: {name}", wanted.get(name), found.get(name))


def host():
    from breakyard.wire import layout

    yield same("host: VERSION", TABLE["version"], layout.VERSION)
    for name, limit in TABLE["limits"].items():
        yield same(f"host: {name}", limit["value"], getattr(layout, name, None))
    enums = {"kinds": "Kind", "commands": "Command", "settings": "Setting"} | LISTS
    for group, enum in enums.items():
        wanted = {entry["name"].upper(): entry["value"] for entry in TABLE[group]}
        found = {member.name: member.value for member in getattr(layout, enum)}
        for name in sorted(wanted | found):
            yield same(f"host: {enum}.{name}", wanted.get(name), found.get(name))
    for kind in TABLE["kinds"]:
        yield same(
            f"host: fields of {kind['name']}", _pairs(kind["fields"]), _of(layout.FIELDS, layout.Kind, kind)
        )
    for command in TABLE["commands"]:
        arguments, results = (
            _of(part, layout.Command, command) for part in (layout.ARGUMENTS, layout.RESULTS)
        )
        yield same(f"host: arguments of {command['name']}", _pairs(command["arguments"]), arguments)
        yield same(f"host: results of {command['name']}", _pairs(command["results"]), results)
    for setting in TABLE["settings"]:
        limits = (setting["min"], setting["default"], setting["max"])
        yield same(f"host: limits of {setting['name']}", limits, layout.SETTING_LIMITS.get(setting["value"]))
    fixed = {name: entry["bytes"] for name, entry in TABLE["types"].items() if "bytes" in entry}
    yield same("host: sizes of types", fixed, dict(layout.TYPE_SIZES))


def firmware():
    """By name and value, as text: what it uses is here, and what is here is right.

    Names that nothing of the firmware uses are left out, as each takes memory of a board; test_layout.py on the real
    interpreter compares everything that is there.
    """
    if not FIRMWARE.exists():
        yield "missing", "firmware: layout.py"
        return
    found = dict(_assignments(FIRMWARE.read_text("utf-8")))
    always = {"VERSION": TABLE["version"]}
    for part in ("arguments", "results"):
        always[part.upper()] = tuple(_letters(command[part]) for command in TABLE["commands"])
    always |= {f"COMMAND_{entry['name']}": entry["value"] for entry in TABLE["commands"]}
    some = {name: limit["value"] for name, limit in TABLE["limits"].items()}
    for group, prefix in (("kinds", "KIND"), ("errors", "ERROR"), ("states", "STATE")):
        some |= {f"{prefix}_{entry['name']}": entry["value"] for entry in TABLE[group]}
    some |= {f"FIELDS_{kind['name']}": _letters(kind["fields"]) for kind in TABLE["kinds"]}
    for name, value in (always | some).items():
        if name in always or name in found:
            yield same(f"firmware: {name}", value, found.get(name))
    for name in sorted(found):
        if (
            name.split("_")[0] in ("KIND", "ERROR", "STATE", "FIELDS", "COMMAND")
            and name not in always | some
        ):
            yield "unexpected", f"firmware: {name}"


def _assignments(text):
    """Names and values of a module's constants."""
    for statement in ast.parse(text).body:
        if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Name):
            value = statement.value
            if isinstance(value, ast.Call):  # const(number)
                value = value.args[0]
            yield statement.targets[0].id, ast.literal_eval(value)


def _of(layouts, enum, entry):
    found = layouts.get(enum(entry["value"])) if entry["value"] in list(enum) else None
    return None if found is None else list(found)


def _pairs(fields):
    return [(field["name"], field["type"]) for field in fields]


def _letters(fields):
    return "".join(LETTERS[field["type"]] for field in fields)
