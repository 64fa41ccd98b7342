"""Is the table sound in itself?"""

from . import LISTS, TABLE

FIXED = {name: entry["bytes"] for name, entry in TABLE["types"].items() if "bytes" in entry}
PHYSICAL = ("_us", "_s", "_ms", "_mhz", "_counts", "_bytes")


def sizes(fields, samples):
    """Smallest and largest number of bytes of some fields; `rest` counts as 0."""
    text = TABLE["limits"]["MAX_TEXT"]["value"]
    low = high = 0
    for field in fields:
        kind = field["type"]
        if kind == "text":
            low, high = low + 1, high + 1 + text
        elif kind == "samples":
            low, high = low + 1 + 5, high + 1 + 5 * samples
        elif kind == "means":
            low, high = low + 1 + 13, high + 1 + 13 * TABLE["limits"]["MAX_MEANS"]["value"]
        elif kind != "rest":
            low, high = low + FIXED[kind], high + FIXED[kind]
    return low, high


def items():
    limits = {name: entry["value"] for name, entry in TABLE["limits"].items()}
    for group in ("kinds", "commands", "settings", *LISTS):
        values = [entry["value"] for entry in TABLE[group]]
        names = [entry["name"] for entry in TABLE[group]]
        unique = len(set(values)) == len(values) and len(set(names)) == len(names)
        yield _verdict(
            unique and all(0 <= v <= 255 for v in values), f"table: {group} have their own numbers"
        )
        since = all(1 <= entry["since"] <= TABLE["version"] for entry in TABLE[group])
        yield _verdict(since, f"table: {group} name the version they came with")
    for name, fields in _field_lists():
        known = all(f["type"] in TABLE["types"] and f["since"] <= TABLE["version"] for f in fields)
        yield _verdict(known, f"table: types of {name}")
        last = all(f["type"] != "rest" for f in fields[:-1])
        yield _verdict(last, f"table: rest comes last in {name}")
        units = all(
            f["unit"]
            for f in fields
            if f["name"].endswith(PHYSICAL) or f["name"] in ("counts", "samples")
            if f["type"] != "samples"
        )
        yield _verdict(units, f"table: units of {name}")
        pairs = all(
            fields[i - 1]["name"] == f["name"][:-2] + "s"
            for i, f in enumerate(fields)
            if f["name"].endswith("_us") and not f["name"].endswith("uncertainty_us")
        )
        yield _verdict(pairs, f"table: microseconds of {name} follow their seconds")
    for kind in TABLE["kinds"]:
        most = limits["MAX_WINDOW_SAMPLES"] if kind["name"] == "PEAK_WINDOW" else limits["MAX_SAMPLES"]
        high = limits["MIN_RECORD"] + sizes(kind["fields"], most)[1]
        yield _verdict(high <= limits["MAX_RECORD"], f"table: {kind['name']} fits into a record")
    header = sum(FIXED[field["type"]] for field in TABLE["header"] + TABLE["trailer"])
    yield _verdict(header == limits["MIN_RECORD"], "table: MIN_RECORD is header and trailer")
    yield _verdict(
        limits["MAX_FRAME"] == limits["MAX_RECORD"] + 3,
        "table: MAX_FRAME is MAX_RECORD stuffed and delimited",
    )
    for setting in TABLE["settings"]:
        inside = setting["min"] <= setting["default"] <= setting["max"]
        yield _verdict(inside, f"table: default of {setting['name']} lies within its limits")
    in_force = [
        field["name"] for kind in TABLE["kinds"] if kind["name"] == "SETTINGS" for field in kind["fields"]
    ]
    yield _verdict(
        in_force == [s["name"] for s in TABLE["settings"]], "table: SETTINGS follows the table of settings"
    )


def _field_lists():
    yield "header", TABLE["header"]
    for kind in TABLE["kinds"]:
        yield kind["name"], kind["fields"]
    for command in TABLE["commands"]:
        yield f"arguments of {command['name']}", command["arguments"]
        yield f"results of {command['name']}", command["results"]


def _verdict(good, item):
    return ("ok" if good else "outdated"), item
