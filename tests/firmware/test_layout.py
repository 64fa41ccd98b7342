"""The firmware's numbers are those of protocol/records.json; a number that it does not use may be missing."""

from firmware_support import read_json

from logger.core import layout

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
LISTS = {
    "states": "STATE_",
    "inputs": "INPUT_",
    "qualities": "QUALITY_",
    "begin_causes": "BEGIN_",
    "end_causes": "END_",
    "marks": "MARK_",
    "levels": "LEVEL_",
    "errors": "ERROR_",
    "accesses": "ACCESS_",
    "privacies": "PRIVACY_",
    "faults": "FAULT_",
    "overloads": "OVERLOAD_",
    "reset_causes": "RESET_",
    "store_tests": "STORE_TEST_",
    "damage": "DAMAGE_",
}
OWN = {"HEADER", "TRAILER", "SAMPLE_BYTES", "QUALITY_SHIFT"}  # follow from the table, checked below


def letters(fields):
    return "".join([LETTERS[field["type"]] for field in fields])


def expected_names():
    table = read_json("protocol/records.json")
    names = {"VERSION": table["version"]}
    for name, limit in table["limits"].items():
        names[name] = limit["value"]
    for kind in table["kinds"]:
        names["KIND_" + kind["name"]] = kind["value"]
        names["FIELDS_" + kind["name"]] = letters(kind["fields"])
    for number, command in enumerate(table["commands"]):
        assert command["value"] == number + 1
        names["COMMAND_" + command["name"]] = command["value"]
    names["ARGUMENTS"] = tuple([letters(command["arguments"]) for command in table["commands"]])
    names["RESULTS"] = tuple([letters(command["results"]) for command in table["commands"]])
    limits = []
    for setting in table["settings"]:
        names["SETTING_" + setting["name"].upper()] = setting["value"]
        assert setting["value"] == len(limits) + 1
        limits.append((setting["default"], setting["min"], setting["max"]))
    names["SETTING_LIMITS"] = tuple(limits)
    for table_name, prefix in LISTS.items():
        for item in table[table_name]:
            names[prefix + item["name"]] = item["value"]
    return names


def test_every_number_here_is_that_of_the_table():
    different = []
    for name, value in sorted(expected_names().items()):
        here = getattr(layout, name, value)
        if here != value:
            different.append((name, value, here))

    assert different == []


def test_nothing_is_here_that_the_table_does_not_have():
    here = {name for name in dir(layout) if name.isupper()}

    assert sorted(here - set(expected_names()) - OWN) == []


def test_sizes_that_follow_from_the_table():
    table = read_json("protocol/records.json")
    sizes = table["types"]

    assert sum([sizes[field["type"]]["bytes"] for field in table["header"]]) == layout.HEADER
    assert sum([sizes[field["type"]]["bytes"] for field in table["trailer"]]) == layout.TRAILER
    assert sizes["i24"]["bytes"] + sizes["u16"]["bytes"] == layout.SAMPLE_BYTES
    assert (1 << layout.QUALITY_SHIFT) == layout.MAX_STEP + 1


def test_settings_fields_are_the_settings_in_order():
    table = read_json("protocol/records.json")
    fields = next(kind for kind in table["kinds"] if kind["name"] == "SETTINGS")["fields"]

    assert [field["name"] for field in fields] == [setting["name"] for setting in table["settings"]]
