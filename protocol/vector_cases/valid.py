"""Undamaged records: bytes and what they say."""

from . import pack
from .pack import KINDS, LIMITS

FLAGS = {
    "Typical": "A record as a logger or a host would write it.",
    "Limit": "A field, a count, a step or the record itself at the end of its range.",
    "Negative": "Negative counts.",
    "Wrap": "A 32-bit counter at or near its highest value.",
    "ZeroBytes": "Zero bytes within the record, which the stuffing must carry.",
    "NoZeroBytes": "A record without any zero byte.",
    "Newer": "Written by a newer version: bytes follow the last known field and are ignored.",
    "UnknownKind": "A kind that version 1 does not have: kept as it is, never an error.",
    "UnknownValue": "A number that no list of version 1 names: kept as it is, never an error.",
}

U32 = 0xFFFFFFFF
LOW, HIGH = LIMITS["RAIL_LOW"], LIMITS["RAIL_HIGH"]

IDENTITY = {
    "serial": bytes.fromhex("e66138528350ab25"),
    "boot": 0x5EA51DE5,
    "protocol": 1,
    "board": "pico_w",
    "firmware": "0.1.0",
    "interpreter": "micropython 1.26.0",
}
SETTINGS = {
    "threshold_counts": 20000,
    "trigger_samples": 2,
    "pre_trigger_ms": 5000,
    "hang_ms": 5000,
    "input": 1,
    "status_ms": 100,
    "commit_ms": 500,
    "capacity_counts": 4294967,
    "mean_ms": 0,
    "privacy": 0,
    "alarm_counts": 2576980,
}
RUN_BEGIN = {
    "boot": 0x5EA51DE5,
    "cause": 0,
    "first_s": 61,
    "first_us": 250000,
    "trigger_s": 66,
    "trigger_us": 262500,
    "baseline_counts": -31042,
    "rate_mhz": 92307,
    "input": 1,
    "clock_device_s": 12,
    "clock_device_us": 4321,
    "clock_utc_s": 1777809600,
    "clock_utc_us": 500000,
    "clock_uncertainty_us": 3500,
}
SAMPLES = {
    "first_sample": 90,
    "first_s": 62,
    "first_us": 225000,
    "samples": [(-31040, 0, 0), (-31087, 542, 0), (-31001, 541, 0), (12, 1084, 1), (650321, 542, 0)],
}
EXAMPLE = {
    "first_sample": 0,
    "first_s": 61,
    "first_us": 250000,
    "samples": [(-31042, 0, 0), (-31001, 625, 0), (650321, 625, 0)],
}
MARK = {"mark_s": 70, "mark_us": 999999, "code": 2, "text": "cleat 3, bonded"}
PEAK_WINDOW = {
    "rank": 0,
    "of": 4,
    "peak_sample": 640,
    "peak_counts": 1834567,
    "first_sample": 638,
    "first_s": 68,
    "first_us": 162500,
    "samples": [(1790001, 0, 0), (1812345, 542, 0), (1834567, 542, 0), (-40210, 541, 0)],
}
RUN_END = {
    "cause": 0,
    "end_s": 80,
    "end_us": 0,
    "samples": 1725,
    "samples_not_stored": 0,
    "missed": 1,
    "clipped": 0,
    "doubtful": 1,
    "lowest_counts": -40210,
    "highest_counts": 1834567,
    "peak_windows": 4,
    "sha256": bytes(range(32)),
    "overload": 0,
    "lowest_battery_mv": 4870,
    "temperature_cdeg": 2150,
    "ring_high": 12,
    "free_memory": 61440,
    "reset_cause": 1,
}
STATUS = {
    "state": 2,
    "now_s": 66,
    "now_us": 400000,
    "counts": 650321,
    "extreme_counts": 650321,
    "quality": 0,
    "samples": 475,
    "records": 13,
    "missed": 1,
    "rate_mhz": 92307,
    "free_bytes": 180224,
    "runs": 3,
    "bad_records": 0,
    "baseline_counts": -31042,
    "fault": 0,
    "overload": 0,
    "battery_mv": 4915,
    "lowest_battery_mv": 4870,
    "temperature_cdeg": 2150,
    "ring_high": 12,
    "free_memory": 61440,
    "reset_cause": 1,
    "seconds_left": 360,
}
CALIBRATION = {
    "name": "weights, spring",
    "made_s": 1777809600,
    "input": 1,
    "centre_counts": 33210,
    "scale_counts": 64402,
    "c0_n": 294.125,
    "c1_n": 294.1994,
    "c2_n": -0.0625,
    "c3_n": 0.0,
    "highest_known_n": 588.399,
    "capacity_n": 9806.65,
    "sha256": bytes(range(200, 232)),
}
RECEIPT = {"token": 0x9F00C3A1}
MEANS = {
    "first_sample": 0,
    "first_s": 61,
    "first_us": 250000,
    "means": [(80, 0, 0, -31042, -31100, -30990), (92, 1, 1001, 12, -31001, 650321), (1, 2, 999, 5, 5, 5)],
}
FILE = {"text": "Breakyard run file, protocol 1", "table": pack.RELEASED}
LOG = {"level": 0, "log_s": 66, "log_us": 300000, "text": "run 4 began"}
COMMAND = {
    "command": 8,
    "arguments": pack.pack_fields(
        pack.COMMANDS["READ"]["arguments"], {"run": 4, "first": 0, "count": 64, "follow": 1}
    ),
}
ANSWER = {
    "command": 8,
    "error": 0,
    "results": pack.pack_fields(pack.COMMANDS["READ"]["results"], {"next": 64, "finished": 0}),
}

TYPICAL = {
    "IDENTITY": (4, 1, IDENTITY),
    "SETTINGS": (4, 2, SETTINGS),
    "RUN_BEGIN": (4, 0, RUN_BEGIN),
    "SAMPLES": (4, 5, SAMPLES),
    "MARK": (4, 6, MARK),
    "PEAK_WINDOW": (4, 40, PEAK_WINDOW),
    "RUN_END": (4, 44, RUN_END),
    "STATUS": (0, 17, STATUS),
    "COMMAND": (0, 9, COMMAND),
    "ANSWER": (0, 9, ANSWER),
    "LOG": (0, 18, LOG),
    "CALIBRATION": (0, 19, CALIBRATION),
    "RECEIPT": (0, 20, RECEIPT),
    "MEANS": (4, 3, MEANS),
    "FILE": (0, 0, FILE),
}


def cases():
    """Yield every case, in a fixed order."""
    for name, (run, index, values) in TYPICAL.items():
        yield _case(
            f"{_id(name)}-typical", "As a logger or a host writes it.", ["Typical"], name, run, index, values
        )
    for name, (run, index, values) in TYPICAL.items():
        if KINDS[name]["fields"][-1]["type"] == "rest":
            continue  # its last field takes all bytes there are; see conversations.json
        yield _case(
            f"{_id(name)}-newer",
            "Version 2 with three more bytes: the known fields are read, the rest is ignored.",
            ["Newer", "ZeroBytes"],
            name,
            run,
            index,
            values,
            version=2,
            extra=bytes([0, 7, 255]),
        )
    yield from _command_newer()
    yield from _samples()
    yield from _marks()
    yield from _means()
    yield from _limits()
    yield from _texts()
    yield from _commands()
    yield from _unknown()


def _command_newer():
    for name in ("COMMAND", "ANSWER"):
        run, index, values = TYPICAL[name]
        longer = dict(values)
        last = KINDS[name]["fields"][-1]["name"]
        longer[last] = values[last] + bytes([0, 7, 255])
        yield _case(
            f"{_id(name)}-newer",
            "Version 2 with three more bytes, which are part of the last field at this level.",
            ["Newer", "ZeroBytes"],
            name,
            run,
            index,
            longer,
            version=2,
        )


def _samples():
    def one(id_, comment, flags, samples, first_sample=0, first_s=10, first_us=0, run=1, index=3):
        values = {"first_sample": first_sample, "first_s": first_s, "first_us": first_us, "samples": samples}
        return _case(f"samples-{id_}", comment, flags, "SAMPLES", run, index, values)

    yield _case("samples-example", "The one that SPEC.md takes apart.", ["Typical"], "SAMPLES", 1, 3, EXAMPLE)
    yield one("single", "The least there can be: one sample.", ["Limit"], [(0, 0, 0)])
    yield one(
        "both-rails",
        "Lower and upper limit of the converter.",
        ["Limit", "Negative"],
        [(LOW, 0, 2), (HIGH, 625, 2), (LOW + 1, 625, 0), (HIGH - 1, 625, 0)],
    )
    yield one(
        "negative",
        "Every byte of a negative count matters.",
        ["Negative"],
        [(-1, 0, 0), (-2, 625, 0), (-256, 625, 0), (-257, 625, 0), (-65536, 625, 0), (-65537, 625, 0)],
    )
    yield one(
        "sign-borders",
        "Counts on both sides of each byte's border.",
        ["Negative", "Limit"],
        [
            (127, 0, 0),
            (128, 1, 0),
            (255, 1, 0),
            (256, 1, 0),
            (32767, 1, 0),
            (32768, 1, 0),
            (65535, 1, 0),
            (65536, 1, 0),
            (-128, 1, 0),
            (-129, 1, 0),
            (-32768, 1, 0),
            (-32769, 1, 0),
        ],
    )
    yield one(
        "steps",
        "The step at both ends of its range: 0, 1 and 8191 units of 20 us.",
        ["Limit"],
        [(5, 0, 0), (6, 0, 0), (7, 1, 0), (8, LIMITS["MAX_STEP"], 0)],
    )
    yield one(
        "every-quality",
        "Every quality, at the longest step.",
        ["Limit"],
        [(0, 0, 0), (1, 8191, 1), (2, 8191, 2), (3, 8191, 3), (4, 8191, 4)],
    )
    yield one(
        "unknown-quality",
        "Qualities 5 to 7 are not named yet; the first sample may have one too.",
        ["UnknownValue", "Limit"],
        [(9, 0, 7), (9, 625, 5), (9, 8191, 7)],
    )
    yield one(
        "full",
        "As many samples as fit, counts crossing zero.",
        ["Limit", "Negative"],
        [((i - 22) * 360000, 0 if i == 0 else 625 + i % 3, 0) for i in range(LIMITS["MAX_SAMPLES"])],
        first_sample=45,
    )
    yield one(
        "all-zero",
        "46 samples of nothing: zero bytes all along.",
        ["ZeroBytes", "Limit"],
        [(0, 0, 0)] * LIMITS["MAX_SAMPLES"],
        first_s=0,
    )
    yield one(
        "ten-hours",
        "The last sample of ten hours at 150 per second, 117 000 records on.",
        ["Typical"],
        [(1234567, 0, 0)],
        first_sample=5399999,
        first_s=36071,
        first_us=993340,
        index=117394,
    )
    yield one(
        "counters-high",
        "Sample number, seconds, run and index at their highest.",
        ["Wrap", "Limit"],
        [(-8000000, 0, 0), (8000000, 500, 0)],
        U32 - 1,
        U32,
        999999,
        65535,
        U32,
    )
    yield one(
        "index-wraps-near",
        "Index one below its highest.",
        ["Wrap"],
        [(1, 0, 0)],
        U32,
        U32 - 1,
        999999,
        1,
        U32 - 1,
    )


def _marks():
    yield _case(
        "mark-extension",
        "A length that somebody read and typed.",
        ["Typical"],
        "MARK",
        1,
        7,
        MARK | {"code": 4, "text": "1012 mm"},
    )


def _means():
    def one(id_, comment, flags, means, **more):
        return _case(f"means-{id_}", comment, flags, "MEANS", 1, 3, MEANS | {"means": means} | more)

    yield one("single", "The least there can be: one mean of one sample.", ["Limit"], [(1, 0, 0, -1, -1, -1)])
    yield one(
        "full",
        "As many means as fit, each of as many samples as can be, rails included.",
        ["Limit", "Negative"],
        [(8191, i % 8, 65535 if i else 0, i - 8, LOW, HIGH) for i in range(LIMITS["MAX_MEANS"])],
        first_sample=U32,
        first_s=U32,
        first_us=999999,
    )


def _limits():
    yield _case(
        "run-begin-clock-never-set",
        "No clock: all zero, uncertainty at its highest value.",
        ["Limit", "ZeroBytes"],
        "RUN_BEGIN",
        1,
        0,
        RUN_BEGIN
        | {
            "cause": 1,
            "rate_mhz": 0,
            "clock_device_s": 0,
            "clock_device_us": 0,
            "clock_utc_s": 0,
            "clock_utc_us": 0,
            "clock_uncertainty_us": LIMITS["CLOCK_NEVER_SET"],
        },
    )
    yield _case(
        "run-begin-wraps",
        "Device time at its end; a baseline on the lower rail.",
        ["Wrap", "Limit", "Negative"],
        "RUN_BEGIN",
        65535,
        0,
        RUN_BEGIN
        | {
            "boot": U32,
            "first_s": U32,
            "first_us": 999999,
            "trigger_s": U32,
            "trigger_us": 999999,
            "baseline_counts": LOW,
            "rate_mhz": U32,
            "input": 3,
        },
    )
    yield _case(
        "run-begin-unknown-cause",
        "A cause and an input that are not named.",
        ["UnknownValue"],
        "RUN_BEGIN",
        2,
        0,
        RUN_BEGIN | {"cause": 200, "input": 9},
    )
    window = [(100000 + 40000 * i if i < 40 else -50000, 0 if i == 0 else 625, 0) for i in range(43)]
    yield _case(
        "peak-window-full",
        "As many samples as fit.",
        ["Limit", "Negative"],
        "PEAK_WINDOW",
        1,
        900,
        PEAK_WINDOW | {"peak_counts": 1660000, "samples": window},
    )
    yield _case(
        "peak-window-rail",
        "A peak on the lower rail: pushed instead of pulled.",
        ["Limit", "Negative"],
        "PEAK_WINDOW",
        1,
        901,
        PEAK_WINDOW
        | {"rank": 3, "peak_sample": U32, "peak_counts": LOW, "first_sample": U32, "samples": [(LOW, 0, 2)]},
    )
    for cause, name in enumerate(("hang", "command", "store-full", "power-lost", "memory-lost")):
        changes = {"cause": cause}
        if name == "store-full":
            changes |= {"samples": 5400000, "samples_not_stored": 5000000, "clipped": 77}
        yield _case(f"run-end-{name}", "One of the causes.", ["Typical"], "RUN_END", 1, 45, RUN_END | changes)
    yield _case(
        "run-end-extremes",
        "Every total at its highest, the extremes on the rails.",
        ["Wrap", "Limit"],
        "RUN_END",
        65535,
        U32,
        RUN_END
        | {
            "end_s": U32,
            "end_us": 999999,
            "samples": U32,
            "samples_not_stored": U32,
            "missed": U32,
            "clipped": U32,
            "doubtful": U32,
            "lowest_counts": LOW,
            "highest_counts": HIGH,
            "peak_windows": 255,
            "sha256": b"\xff" * 32,
            "overload": 3,
            "lowest_battery_mv": 65535,
            "temperature_cdeg": HIGH,
            "ring_high": 65535,
            "free_memory": U32,
            "reset_cause": 4,
        },
    )
    for state, name in enumerate(("idle", "armed", "recording", "fault")):
        yield _case(
            f"status-{name}", "One of the states.", ["Typical"], "STATUS", 0, state, STATUS | {"state": state}
        )
    for group, field in (("faults", "fault"), ("overloads", "overload"), ("reset_causes", "reset_cause")):
        for entry in pack.TABLE[group][1:]:
            name = entry["name"].lower().replace("_", "-")
            changes = {field: entry["value"]}
            if field == "fault":
                changes["state"] = 3
            yield _case(
                f"status-{field.replace('_', '-')}-{name}",
                "One that is listed.",
                ["Typical"],
                "STATUS",
                0,
                entry["value"],
                STATUS | changes,
            )
    yield _case(
        "status-reset-cause-unknown",
        "A board that measures nothing.",
        ["Typical", "Limit"],
        "STATUS",
        0,
        0,
        STATUS
        | {
            "battery_mv": 0,
            "lowest_battery_mv": 0,
            "temperature_cdeg": LOW,
            "free_memory": 0,
            "reset_cause": 0,
        },
    )
    yield _case(
        "status-negative",
        "Negative counts throughout.",
        ["Negative", "Limit"],
        "STATUS",
        0,
        U32,
        STATUS | {"counts": -1, "extreme_counts": LOW, "quality": 2, "baseline_counts": -8000000},
    )
    yield _case(
        "settings-lowest",
        "Every setting at its lower limit.",
        ["Limit"],
        "SETTINGS",
        0,
        0,
        {s["name"]: s["min"] for s in pack.TABLE["settings"]},
    )
    yield _case(
        "settings-highest",
        "Every setting at its upper limit.",
        ["Limit"],
        "SETTINGS",
        0,
        1,
        {s["name"]: s["max"] for s in pack.TABLE["settings"]},
    )

    yield _case(
        "calibration-limits",
        "Longest name; numbers at the ends of single precision, a subnormal and a negative zero among them.",
        ["Limit", "Negative"],
        "CALIBRATION",
        0,
        U32,
        CALIBRATION
        | {
            "name": "n" * 64,
            "made_s": U32,
            "input": 3,
            "centre_counts": LOW,
            "scale_counts": U32,
            "c0_n": -3.4028234663852886e38,
            "c1_n": 3.4028234663852886e38,
            "c2_n": 1.401298464324817e-45,
            "c3_n": -0.0,
            "sha256": b"\xff" * 32,
        },
    )
    yield _case(
        "calibration-unknown-input",
        "No name, no date, no capacity, and an input that is not named.",
        ["UnknownValue", "ZeroBytes"],
        "CALIBRATION",
        0,
        0,
        CALIBRATION | {"name": "", "made_s": 0, "input": 9, "scale_counts": 1, "capacity_n": 0.0},
    )


def _texts():
    yield _case(
        "mark-empty-text", "A text of no bytes.", ["Limit"], "MARK", 1, 7, MARK | {"code": 0, "text": ""}
    )
    yield _case(
        "mark-longest-text",
        "64 bytes of text.",
        ["Limit"],
        "MARK",
        1,
        7,
        MARK | {"code": 1, "text": "x" * 64},
    )
    yield _case(
        "mark-utf8",
        "Characters of two, three and four bytes, 64 bytes in all.",
        ["Limit"],
        "MARK",
        1,
        7,
        MARK | {"code": 3, "text": "20 kg ±0.1 Gewicht №3 \u2696 \U0001f6a4 " + "ä" * 12 + "..."},
    )
    yield _case(
        "mark-unknown-code", "A code that is not named.", ["UnknownValue"], "MARK", 1, 7, MARK | {"code": 255}
    )
    yield _case(
        "log-zero-in-text",
        "A zero byte is a character like others.",
        ["ZeroBytes"],
        "LOG",
        0,
        3,
        LOG | {"level": 2, "text": "a\0b\0"},
    )
    yield _case(
        "identity-longest",
        "All three texts at their longest.",
        ["Limit"],
        "IDENTITY",
        9,
        1,
        IDENTITY
        | {
            "serial": b"\xff" * 8,
            "boot": U32,
            "board": "b" * 64,
            "firmware": "f" * 64,
            "interpreter": "i" * 64,
        },
    )
    yield _case(
        "identity-shortest",
        "All three texts empty, everything else zero.",
        ["Limit", "ZeroBytes"],
        "IDENTITY",
        0,
        0,
        IDENTITY
        | {"serial": bytes(8), "boot": 0, "protocol": 1, "board": "", "firmware": "", "interpreter": ""},
    )


def _commands():
    arguments = {
        "SET": {"setting": 1, "value": 8000000},
        "MARK": {"code": 0, "text": "flash", "before_ms": 0},
        "LIST": {"first": 65535},
        "READ": {"run": 1, "first": U32, "count": 64, "follow": 1},
        "SET_CLOCK": {
            "device_s": 1,
            "device_us": 2,
            "utc_s": 1777809600,
            "utc_us": 999999,
            "uncertainty_us": 5000,
        },
        "STREAM": {"on": 1},
        "ERASE": {"run": 7, "sha256": bytes(range(100, 132))},
        "STORE_CALIBRATION": CALIBRATION,
        "SET_KEY": {"key": bytes(range(1, 33)), "access": 1},
        "CHALLENGE": {"host_nonce": bytes(range(32))},
        "SEALED": {"counter": 1, "tag": bytes(range(32, 64)), "sealed": b"\5"},
        "SELF_TEST": {"seconds": 10},
        "TEST_LINK": {"size": LIMITS["MAX_FILLER"]},
        "TEST_RATE": {"slow_s": 15},
    }
    results = {
        "HELLO": {"protocol": 1, "name": "slipway", "commands": 8, "window": 1024},
        "SET": {"value": 8000000},
        "ARM": {"run": 5, "seconds_left": 600},
        "START": {"run": 5, "seconds_left": 0},
        "STOP": {"run": 5},
        "MARK": {"mark_s": 70, "mark_us": 5},
        "LIST": {"run": 5, "records": 45, "bytes": 11385, "complete": 1},
        "READ": {"next": 45, "finished": 1},
        "TIME": {"now_s": U32, "now_us": 999999},
        "STORE_CALIBRATION": {"sha256": CALIBRATION["sha256"]},
        "READ_CALIBRATION": {"sha256": CALIBRATION["sha256"]},
        "SET_KEY": {"key_id": bytes(range(8))},
        "CHALLENGE": {"nonce": bytes(range(32)), "proof": bytes(range(64, 96))},
        "SELF_TEST": {
            "samples": 920,
            "span_ms": 9990,
            "missed": 1,
            "late": 2,
            "on_rail": 0,
            "settling": 4,
            "out_of_step": 3,
            "mean_counts": -31042,
            "lowest_counts": -31190,
            "highest_counts": -30899,
            "noise_millicounts": 59123,
            "input": 1,
            "free_memory": 71344,
        },
        "TEST_STORE": {"outcome": 4, "bytes": 4096, "write_ms": 61, "read_ms": 3},
        "TEST_LINK": {"filler": bytes(range(LIMITS["MAX_FILLER"]))},
        "TEST_RATE": {"has_pin": 1},
    }
    for number, (name, entry) in enumerate(pack.COMMANDS.items()):
        packed = pack.pack_fields(entry["arguments"], arguments.get(name, {}))
        yield _case(
            f"command-{_id(name)}",
            f"The command {name}.",
            ["Typical"],
            "COMMAND",
            0,
            100 + number,
            {"command": entry["value"], "arguments": packed},
        )
        packed = pack.pack_fields(entry["results"], results.get(name, {}))
        yield _case(
            f"answer-{_id(name)}",
            f"An answer to {name}.",
            ["Typical"],
            "ANSWER",
            0,
            100 + number,
            {"command": entry["value"], "error": 0, "results": packed},
        )
    for error in pack.TABLE["errors"][1:]:
        yield _case(
            f"answer-error-{_id(error['name'])}",
            "An answer with an error has no results.",
            ["Typical"],
            "ANSWER",
            0,
            200,
            {"command": 8, "error": error["value"], "results": b""},
        )
    yield _case(
        "command-unknown-number",
        "A command that is not named is a sound record.",
        ["UnknownValue"],
        "COMMAND",
        0,
        1,
        {"command": 99, "arguments": b"\1\2"},
    )
    yield _case(
        "command-largest",
        "The largest record there can be: 254 bytes, some of them zero.",
        ["Limit", "ZeroBytes"],
        "COMMAND",
        0,
        U32,
        {"command": 250, "arguments": bytes(i % 251 for i in range(241))},
    )
    no_zero = {"command": 250, "error": 9, "results": bytes(i % 251 + 1 for i in range(240))}
    yield _case(
        "answer-largest-without-zero",
        "254 bytes without a zero: a single block of 254 when stuffed.",
        ["Limit", "NoZeroBytes"],
        "ANSWER",
        0x0101,
        0x01010101,
        no_zero,
    )


def _unknown():
    def one(id_, comment, kind, payload, version=1, run=3, index=8):
        data = pack.seal(pack.header(kind, run, index, version) + payload)
        fields = {"payload": payload.hex()}
        return _entry(
            f"unknown-{id_}", comment, ["UnknownKind"], None, kind, version, run, index, fields, data, True
        )

    yield one("kind-99", "A number that is not given, in version 2.", 99, bytes([1, 0, 2]), version=2)
    yield one("kind-0", "Kind 0.", 0, b"")
    yield one("kind-255", "Kind 255 with a payload of 242 bytes, 254 in all.", 255, bytes(242), version=255)
    yield one("outside-run", "Of run 0.", 77, b"future", version=9, run=0, index=U32)


def _id(name):
    return name.lower().replace("_", "-")


def _case(id_, comment, flags, name, run, index, values, version=1, extra=b""):
    kind = KINDS[name]
    data = pack.record(name, run, index, values, version, extra)
    fields = pack.plain(kind["fields"], values)
    return _entry(id_, comment, flags, name, kind["value"], version, run, index, fields, data, not extra)


def _entry(id_, comment, flags, name, kind, version, run, index, fields, data, canonical):
    assert len(data) <= LIMITS["MAX_RECORD"], (id_, len(data))
    return {
        "id": id_,
        "comment": comment,
        "flags": flags,
        "name": name,
        "kind": kind,
        "version": version,
        "run": run,
        "index": index,
        "fields": fields,
        "canonical": canonical,
        "record": data.hex(),
        "frame": pack.frame(data).hex(),
    }
