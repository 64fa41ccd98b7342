"""Commands to a logger that was just started, is IDLE and has an empty store, and what it must answer.

Only what does not depend on the board, the time and the converter is here. `expect` lists the records that must
come, in that order; STATUS and LOG records may come in between and are to be ignored. An expected record is
given whole (`record`), or by its kind and some of its fields where others depend on the board.
"""

from . import pack, seals
from .pack import COMMANDS, LIMITS, answer, command
from .valid import CALIBRATION

FLAGS = {
    "Typical": "What every host does.",
    "BadArgument": "An argument is missing, too long or out of range.",
    "BadState": "Not possible in the present state.",
    "Nothing": "Something that is not in the store.",
    "Unknown": "A command that version 1 does not have.",
    "Damaged": "Damaged commands get no answer.",
    "Limit": "Arguments at the ends of their range.",
    "Repeated": "The same command again gets the same answer again and is not carried out twice.",
    "Knock": "Delimiters and nothing else, where a host does not know what is at the other end.",
    "Newer": "A host of a newer version.",
    "Recording": "The logger records; the converter must deliver.",
}

SETTING_NUMBERS = {setting["name"]: setting["value"] for setting in pack.TABLE["settings"]}
DEFAULTS = {setting["name"]: setting["default"] for setting in pack.TABLE["settings"]}


def cases():
    """Yield every case, in a fixed order."""
    yield from _hello()
    yield from _settings()
    yield from _refusals()
    yield from _damaged()
    yield from _repeated()
    yield from _newer()
    yield from _calibration()
    yield from _keys()
    yield from _tests()
    yield from _run()


def _hello():
    yield _case(
        "hello",
        "The logger says who it is, then answers.",
        ["Typical"],
        _send(command("HELLO", 1), *_greeting(), _whole(answer("HELLO", 1, **_HELLO))),
    )
    yield _case(
        "hello-twice",
        "HELLO changes nothing: whoever asks again hears everything again.",
        ["Typical", "Repeated"],
        _send(command("HELLO", 1), *_greeting(), _whole(answer("HELLO", 1, **_HELLO))),
        _send(command("HELLO", 1), *_greeting(), _whole(answer("HELLO", 1, **_HELLO))),
    )
    identity = _greeting()[0]
    yield _case(
        "knock",
        "Delimiters alone, over a cable: the logger says who it is. Further ones are another knock.",
        ["Knock"],
        _bytes(bytes(8), identity),
        _bytes(bytes(16), identity, identity),
        _send(command("HELLO", 1), *_greeting(), _whole(answer("HELLO", 1, **_HELLO))),
    )
    yield _case(
        "knock-too-short",
        "Fewer delimiters than a knock has, and as many with records between: no answer to them.",
        ["Knock"],
        _bytes(bytes(6)),
        _send(command("HELLO", 1), *_greeting(), _whole(answer("HELLO", 1, **_HELLO))),
        _bytes(bytes(6)),
    )


_HELLO = {"protocol": 1, "name": "", "commands": LIMITS["COMMANDS_AT_ONCE"], "window": 65535}


def _greeting(**settings):
    return (
        {"kind": pack.KINDS["IDENTITY"]["value"], "run": 0, "fields": {"protocol": 1}},
        {"kind": pack.KINDS["SETTINGS"]["value"], "run": 0, "fields": DEFAULTS | settings},
    )


def _settings():
    steps, index = [], 10
    for setting in pack.TABLE["settings"]:
        for value in (setting["min"], setting["max"]):
            steps.append(
                _send(_set(index, setting["name"], value), _whole(answer("SET", index, value=value)))
            )
            index += 1
        for value in (setting["min"] - 1, setting["max"] + 1):
            if value >= 0:
                steps.append(
                    _send(_set(index, setting["name"], value), _whole(answer("SET", index, "BAD_ARGUMENT")))
                )
                index += 1
    yield _case(
        "set-limits", "Every setting at its limits and just beyond them.", ["Typical", "BadArgument"], *steps
    )
    yield _case(
        "set-then-hello",
        "A refused value changes nothing, an accepted one shows in SETTINGS.",
        ["Typical"],
        _send(_set(1, "threshold_counts", 99), _whole(answer("SET", 1, "BAD_ARGUMENT"))),
        _send(_set(2, "hang_ms", 2500), _whole(answer("SET", 2, value=2500))),
        _send(command("HELLO", 3), *_greeting(hang_ms=2500), _whole(answer("HELLO", 3, **_HELLO))),
    )
    for number in (0, len(SETTING_NUMBERS) + 1, 255):
        data = command("SET", 1, setting=number, value=1000)
        yield _case(
            f"set-unknown-{number}",
            "A setting that does not exist.",
            ["BadArgument"],
            _send(data, _whole(answer("SET", 1, "BAD_ARGUMENT"))),
        )


def _refusals():
    clock = _ARGUMENTS["SET_CLOCK"]
    one, too_many = _ARGUMENTS["READ"], LIMITS["MAX_READ"] + 1
    text = {"code": 0, "text": "x", "before_ms": 0}
    never = clock | {"uncertainty_us": LIMITS["CLOCK_NEVER_SET"]}
    for id_, comment, flag, name, arguments, error in (
        ("list-empty", "The store is empty.", "Nothing", "LIST", {"first": 0}, "NO_SUCH_RUN"),
        ("list-last", "No run has a number as high.", "Nothing", "LIST", {"first": 65535}, "NO_SUCH_RUN"),
        ("read-nothing", "A run that is not there.", "Nothing", "READ", one, "NO_SUCH_RUN"),
        ("read-run-0", "Run 0 is no run.", "Nothing", "READ", one | {"run": 0}, "NO_SUCH_RUN"),
        (
            "read-too-many",
            "One READ may ask for 64.",
            "BadArgument",
            "READ",
            one | {"count": too_many},
            "BAD_ARGUMENT",
        ),
        ("read-follow-2", "follow is 0 or 1.", "BadArgument", "READ", one | {"follow": 2}, "BAD_ARGUMENT"),
        ("erase-nothing", "A run that is not there.", "Nothing", "ERASE", _ARGUMENTS["ERASE"], "NO_SUCH_RUN"),
        ("mark-idle", "No run is being recorded.", "BadState", "MARK", text, "BAD_STATE"),
        ("mark-code", "A code that is not named.", "BadArgument", "MARK", text | {"code": 5}, "BAD_ARGUMENT"),
        (
            "mark-before-60001",
            "A moment more than a minute ago.",
            "BadArgument",
            "MARK",
            text | {"before_ms": 60001},
            "BAD_ARGUMENT",
        ),
        ("set-clock-never", "A clock that is to count as never set.", "Typical", "SET_CLOCK", never, "OK"),
        (
            "set-clock-highest",
            "An anchor in the year 2106 for a device time that is still to come.",
            "Limit",
            "SET_CLOCK",
            dict.fromkeys(("device_s", "utc_s"), 0xFFFFFFFF)
            | {"device_us": 999999, "utc_us": 999999, "uncertainty_us": 0},
            "OK",
        ),
        ("set-clock", "A clock anchor.", "Typical", "SET_CLOCK", clock, "OK"),
        (
            "set-clock-device-us",
            "Over 999999.",
            "BadArgument",
            "SET_CLOCK",
            clock | {"device_us": 10**6},
            "BAD_ARGUMENT",
        ),
        (
            "set-clock-utc-us",
            "Over 999999.",
            "BadArgument",
            "SET_CLOCK",
            clock | {"utc_us": 10**6},
            "BAD_ARGUMENT",
        ),
        ("stream-off", "Switching off what is off is no error.", "Typical", "STREAM", {"on": 0}, "OK"),
        ("stream-2", "on is 0 or 1.", "BadArgument", "STREAM", {"on": 2}, "BAD_ARGUMENT"),
    ):
        yield _case(
            id_, comment, [flag], _send(command(name, 1, **arguments), _whole(answer(name, 1, error)))
        )
    yield _case(
        "stop-idle",
        "Nothing to end: no error, run 0.",
        ["Typical"],
        _send(command("STOP", 1), _whole(answer("STOP", 1, run=0))),
    )
    for number in (0, 200, 255):
        yield _case(
            f"unknown-command-{number}",
            "A command that does not exist.",
            ["Unknown"],
            _send(_raw(number, 1, b"\1\2"), _whole(_error(number, 1, "UNKNOWN_COMMAND"))),
        )
    for name, entry in COMMANDS.items():
        number = entry["value"]
        sound = pack.pack_fields(entry["arguments"], _ARGUMENTS.get(name, {}))
        if sound:
            yield _case(
                f"{_id(name)}-short",
                "The last argument is not whole.",
                ["BadArgument"],
                _send(_raw(number, 1, sound[:-1]), _whole(_error(number, 1, "BAD_ARGUMENT"))),
            )
        if entry["arguments"] and entry["arguments"][-1]["type"] == "rest":
            continue
        yield _case(
            f"{_id(name)}-long",
            "One byte after the last argument, in version 1.",
            ["BadArgument"],
            _send(_raw(number, 1, sound + b"\0"), _whole(_error(number, 1, "BAD_ARGUMENT"))),
        )
    for id_, text in (("utf8", b"\xc3("), ("65", b"x" * 65)):
        data = _raw(COMMANDS["MARK"]["value"], 1, b"\0" + bytes([len(text)]) + text + b"\0\0")
        yield _case(
            f"mark-text-{id_}",
            "A text that no text field can have.",
            ["BadArgument"],
            _send(data, _whole(_error(COMMANDS["MARK"]["value"], 1, "BAD_ARGUMENT"))),
        )


def _damaged():
    sound = command("STOP", 7)
    hurt = bytearray(sound)
    hurt[-1] ^= 1
    reply = _whole(answer("STOP", 7, run=0))
    yield _case(
        "damaged-then-sound",
        "A damaged command gets no answer; sent again, it does.",
        ["Damaged"],
        _send(bytes(hurt)),
        _send(sound, reply),
    )
    half = pack.frame(sound)[:9]
    yield _case(
        "half-a-command",
        "The beginning of a command, then a whole one.",
        ["Damaged"],
        _bytes(half),
        _bytes(pack.frame(sound), reply),
    )
    yield _case(
        "noise",
        "600 bytes of noise, then a command.",
        ["Damaged"],
        _bytes(bytes(i % 255 + 1 for i in range(600))),
        _bytes(pack.frame(sound), reply),
    )
    yield _case(
        "not-a-command",
        "Records that are no COMMAND are not for the logger.",
        ["Damaged"],
        _send(answer("STOP", 7, run=0)),
        _send(sound, reply),
    )
    version_0 = bytearray(sound[:-4])
    version_0[1] = 0
    yield _case(
        "version-0",
        "A record of version 0 is damaged.",
        ["Damaged"],
        _send(pack.seal(bytes(version_0))),
        _send(sound, reply),
    )
    yield _case(
        "two-at-once",
        "Two commands in one packet.",
        ["Typical"],
        _bytes(
            pack.frame(sound) + pack.frame(command("STREAM", 8, on=0)), reply, _whole(answer("STREAM", 8))
        ),
    )


def _repeated():
    data = _set(5, "hang_ms", 3000)
    reply = _whole(answer("SET", 5, value=3000))
    yield _case(
        "set-again",
        "The answer was lost, so the host sends the command again.",
        ["Repeated"],
        _send(data, reply),
        _send(data, reply),
    )
    refused = command("MARK", 6, code=0, text="late", before_ms=0)
    yield _case(
        "error-again",
        "An error is repeated like any answer.",
        ["Repeated"],
        _send(refused, _whole(answer("MARK", 6, "BAD_STATE"))),
        _send(refused, _whole(answer("MARK", 6, "BAD_STATE"))),
    )
    time = {
        "kind": pack.KINDS["ANSWER"]["value"],
        "run": 0,
        "index": 7,
        "fields": {"command": COMMANDS["TIME"]["value"], "error": 0},
    }
    yield _case(
        "time-again",
        "A TIME that comes again, later, gets the time of the first one.",
        ["Repeated"],
        _send(command("TIME", 7), time),
        _send(command("TIME", 7), {"again": 0}),
    )


def _newer():
    longer = command("SET", 5, version=2, extra=b"\1\2\3", setting=4, value=4000)
    yield _case(
        "newer-set",
        "Version 2 with arguments that version 1 does not know: they are ignored.",
        ["Newer"],
        _send(longer, _whole(answer("SET", 5, value=4000))),
    )
    unknown = pack.record("COMMAND", 0, 6, {"command": 77, "arguments": b"?"}, 2)
    yield _case(
        "newer-command",
        "A command of version 2.",
        ["Newer", "Unknown"],
        _send(unknown, _whole(_error(77, 6, "UNKNOWN_COMMAND"))),
    )
    kind = pack.seal(pack.header(200, 0, 7, 2) + b"?")
    yield _case(
        "newer-kind",
        "A record of an unknown kind gets no answer.",
        ["Newer"],
        _send(kind),
        _send(command("STOP", 8), _whole(answer("STOP", 8, run=0))),
    )


def _calibration():
    name, kept = "STORE_CALIBRATION", CALIBRATION["sha256"]
    shown = {
        "kind": pack.KINDS["CALIBRATION"]["value"],
        "run": 0,
        "fields": pack.plain(pack.KINDS["CALIBRATION"]["fields"], CALIBRATION),
    }
    other = CALIBRATION | {"name": "autumn", "sha256": bytes(32)}
    yield _case(
        "calibration",
        "Kept, read back, not replaced by what is refused, replaced by another.",
        ["Typical", "Nothing", "Repeated"],
        _send(command("READ_CALIBRATION", 1), _whole(answer("READ_CALIBRATION", 1, "NO_SUCH_RECORD"))),
        _send(command(name, 2, **CALIBRATION), _whole(answer(name, 2, sha256=kept))),
        _send(command("READ_CALIBRATION", 3), shown, _whole(answer("READ_CALIBRATION", 3, sha256=kept))),
        _send(command("READ_CALIBRATION", 3), shown, _whole(answer("READ_CALIBRATION", 3, sha256=kept))),
        _send(command(name, 4, **(other | {"scale_counts": 0})), _whole(answer(name, 4, "BAD_ARGUMENT"))),
        _send(command("READ_CALIBRATION", 5), shown, _whole(answer("READ_CALIBRATION", 5, sha256=kept))),
        _send(command(name, 6, **other), _whole(answer(name, 6, sha256=bytes(32)))),
        _send(
            command("READ_CALIBRATION", 7),
            shown | {"fields": {"name": "autumn"}},
            _whole(answer("READ_CALIBRATION", 7, sha256=bytes(32))),
        ),
    )
    for id_, comment, changes in (
        ("input", "An input that is not listed.", {"input": 0}),
        ("scale", "A scale of nothing.", {"scale_counts": 0}),
        ("infinity", "A force without end.", {"c1_n": float("inf")}),
        ("nan", "A force that is no number.", {"capacity_n": float("nan")}),
    ):
        yield _case(
            f"store-calibration-{id_}",
            comment,
            ["BadArgument"],
            _send(command(name, 1, **(CALIBRATION | changes)), _whole(answer(name, 1, "BAD_ARGUMENT"))),
        )


def _keys():
    key = bytes(range(1, 33))
    other = _ARGUMENTS["SET_KEY"] | {"access": 4}
    yield _case(
        "key-id",
        "A key is set; its id is told, the key itself never.",
        ["Typical"],
        _send(
            command("SET_KEY", 1, key=key, access=1),
            _whole(answer("SET_KEY", 1, key_id=seals.hmac_sha256(key, b"breakyard key id")[:8])),
        ),
    )
    yield _case(
        "set-key-access",
        "An access that is not listed.",
        ["BadArgument"],
        _send(command("SET_KEY", 1, **other), _whole(answer("SET_KEY", 1, "BAD_ARGUMENT"))),
        _send(command("CHALLENGE", 2, host_nonce=bytes(32)), _whole(answer("CHALLENGE", 2, "BAD_STATE"))),
    )
    yield _case(
        "challenge-no-key",
        "No key was set.",
        ["BadState"],
        _send(command("CHALLENGE", 1, host_nonce=bytes(32)), _whole(answer("CHALLENGE", 1, "BAD_STATE"))),
    )
    yield _case(
        "sealed-empty",
        "A seal over nothing.",
        ["BadArgument"],
        _send(
            command("SEALED", 1, counter=1, tag=bytes(32), sealed=b""),
            _whole(answer("SEALED", 1, "BAD_ARGUMENT")),
        ),
    )
    start = bytes([COMMANDS["START"]["value"]])
    sealed = command("SEALED", 2, counter=1, tag=bytes(32), sealed=start)
    refused = _whole(answer("SEALED", 2, "NOT_ALLOWED"))
    yield _case(
        "sealed-without-session",
        "No session: refused, again when it comes again, and nothing was begun.",
        ["Repeated"],
        _send(sealed, refused),
        _send(sealed, refused),
        _send(command("STOP", 3), _whole(answer("STOP", 3, run=0))),
    )


def _tests():
    for id_, comment, name, arguments in (
        ("self-test", "What the latest samples say hangs on the board.", "SELF_TEST", {"seconds": 1}),
        ("test-store", "Whether there is flash hangs on the board.", "TEST_STORE", {}),
        ("test-rate", "Whether RATE is wired hangs on the board.", "TEST_RATE", {"slow_s": 0}),
    ):
        fields = {"command": COMMANDS[name]["value"], "error": 0}
        reply = {"kind": pack.KINDS["ANSWER"]["value"], "run": 0, "index": 1, "fields": fields}
        yield _case(id_, comment, ["Typical"], _send(command(name, 1, **arguments), reply))
    most = LIMITS["MAX_FILLER"]
    yield _case(
        "test-link",
        "As many bytes as asked for: none, some, the most there can be.",
        ["Typical"],
        *(
            _send(
                command("TEST_LINK", 1 + i, size=size),
                _whole(answer("TEST_LINK", 1 + i, filler=bytes(range(size)))),
            )
            for i, size in enumerate((0, 7, most))
        ),
    )
    for name, argument, wrong in (
        ("SELF_TEST", "seconds", (0, 11)),
        ("TEST_LINK", "size", (most + 1,)),
        ("TEST_RATE", "slow_s", (61,)),
    ):
        for value in wrong:
            yield _case(
                f"{_id(name)}-{value}",
                "An argument out of range.",
                ["BadArgument"],
                _send(command(name, 1, **{argument: value}), _whole(answer(name, 1, "BAD_ARGUMENT"))),
            )


def _run():
    start = command("START", 1)
    begun = {
        "kind": pack.KINDS["ANSWER"]["value"],
        "run": 0,
        "index": 1,
        "fields": {"command": COMMANDS["START"]["value"], "error": 0, "results": "0100"},
    }
    busy = [
        (command("START", 2), answer("START", 2, "BAD_STATE")),
        (command("ARM", 3), answer("ARM", 3, "BAD_STATE")),
        (_set(4, "hang_ms", 3000), answer("SET", 4, "BAD_STATE")),
        (command("SELF_TEST", 7, seconds=1), answer("SELF_TEST", 7, "BAD_STATE")),
        (command("TEST_STORE", 8), answer("TEST_STORE", 8, "BAD_STATE")),
        (command("TEST_RATE", 9, slow_s=5), answer("TEST_RATE", 9, "BAD_STATE")),
        (command("READ", 6, run=2, first=0, count=1, follow=0), answer("READ", 6, "NO_SUCH_RUN")),
    ]
    yield _case(
        "start-twice",
        "The same START again: the same run. Another START: there is one already.",
        ["Recording", "Repeated", "BadState"],
        _send(start, begun),
        _send(start, begun),
        *(_send(data, _whole(reply)) for data, reply in busy),
    )
    ahead = [command("READ", 2 + i, run=1, first=i, count=1, follow=1) for i in range(2)]
    read = command("READ", 2, run=1, first=0, count=1, follow=0)
    first = {"kind": pack.KINDS["RUN_BEGIN"]["value"], "run": 1, "index": 0, "fields": {}}
    yield _case(
        "read-again",
        "A READ that was answered comes again: the answer comes again, the records do not.",
        ["Recording", "Repeated"],
        _send(start, begun),
        _send(
            command("READ", 5, run=1, first=0, count=1, follow=1),
            first,
            _whole(answer("READ", 5, next=1, finished=0)),
        ),
        _send(read, first, _whole(answer("READ", 2, next=1, finished=0))),
        _send(read, _whole(answer("READ", 2, next=1, finished=0))),
    )
    yield _case(
        "follow-before-the-trigger",
        "A followed READ of the run that ARM promised waits for it; when STOP disarms, there is no such run.",
        ["Recording", "Typical"],
        _send(
            command("ARM", 1),
            begun | {"fields": begun["fields"] | {"command": COMMANDS["ARM"]["value"]}},
        ),
        _send(command("READ", 2, run=1, first=0, count=1, follow=1)),
        _send(
            command("READ", 3, run=2, first=0, count=1, follow=1), _whole(answer("READ", 3, "NO_SUCH_RUN"))
        ),
        _send(command("READ", 4, run=1, first=0, count=1, follow=1)),
        _send(command("STOP", 5), _whole(answer("STOP", 5, run=0)), _whole(answer("READ", 4, "NO_SUCH_RUN"))),
    )
    yield _case(
        "read-ahead",
        "A READ that goes on where the one under way ends waits behind it; both are answered.",
        ["Recording", "Typical"],
        _send(start, begun),
        _bytes(
            pack.frame(ahead[0]) + pack.frame(ahead[1]),
            {"kind": pack.KINDS["RUN_BEGIN"]["value"], "run": 1, "index": 0, "fields": {}},
            _whole(answer("READ", 2, next=1, finished=0)),
            {"kind": pack.KINDS["IDENTITY"]["value"], "run": 1, "index": 1, "fields": {}},
            _whole(answer("READ", 3, next=2, finished=0)),
        ),
    )
    third = command("READ", 4, run=1, first=2, count=1, follow=1)
    yield _case(
        "read-ahead-too-far",
        "A third READ that goes on is too many: BUSY. Sent again when the others are done, it is carried out.",
        ["Recording", "BadState"],
        _send(start, begun),
        _bytes(
            pack.frame(ahead[0]) + pack.frame(ahead[1]) + pack.frame(third),
            _whole(answer("READ", 4, "BUSY")),
            first,
            _whole(answer("READ", 2, next=1, finished=0)),
            {"kind": pack.KINDS["IDENTITY"]["value"], "run": 1, "index": 1, "fields": {}},
            _whole(answer("READ", 3, next=2, finished=0)),
        ),
        _send(
            third,
            {"kind": pack.KINDS["SETTINGS"]["value"], "run": 1, "index": 2, "fields": {}},
            _whole(answer("READ", 4, next=3, finished=0)),
        ),
    )
    elsewhere = command("READ", 4, run=1, first=0, count=2, follow=0)
    nothing = command("READ", 5, run=1, first=0, count=0, follow=0)
    yield _case(
        "read-replaced",
        "A READ that does not go on where the last one ends replaces all; one of no records does only that.",
        ["Recording", "Typical"],
        _send(start, begun),
        _bytes(
            pack.frame(ahead[0]) + pack.frame(ahead[1]) + pack.frame(elsewhere),
            first,
            {"kind": pack.KINDS["IDENTITY"]["value"], "run": 1, "index": 1, "fields": {}},
            _whole(answer("READ", 4, next=2, finished=0)),
        ),
        _bytes(
            pack.frame(ahead[0]) + pack.frame(ahead[1]) + pack.frame(nothing),
            _whole(answer("READ", 5, next=0, finished=0)),
        ),
        _bytes(
            pack.frame(ahead[0]) + pack.frame(command("READ", 6, run=1, first=2, count=1, follow=1)),
            {"kind": pack.KINDS["SETTINGS"]["value"], "run": 1, "index": 2, "fields": {}},
            _whole(answer("READ", 6, next=3, finished=0)),
        ),
    )
    arm = command("ARM", 1)
    armed = {
        "kind": pack.KINDS["ANSWER"]["value"],
        "run": 0,
        "index": 1,
        "fields": {"command": COMMANDS["ARM"]["value"], "error": 0, "results": "0100"},
    }
    yield _case(
        "arm-stop",
        "Armed and disarmed: no run came of it.",
        ["Recording", "Typical"],
        _send(arm, armed),
        _send(_set(2, "hang_ms", 3000), _whole(answer("SET", 2, "BAD_STATE"))),
        _send(command("STOP", 3), _whole(answer("STOP", 3, run=0))),
        _send(command("LIST", 4, first=1), _whole(answer("LIST", 4, "NO_SUCH_RUN"))),
    )


_ARGUMENTS = {
    "SET": {"setting": 4, "value": 5000},
    "MARK": {"code": 0, "text": "x", "before_ms": 0},
    "LIST": {"first": 1},
    "READ": {"run": 1, "first": 0, "count": 1, "follow": 0},
    "SET_CLOCK": {"device_s": 1, "device_us": 0, "utc_s": 1, "utc_us": 0, "uncertainty_us": 1},
    "STREAM": {"on": 0},
    "ERASE": {"run": 1, "sha256": bytes(32)},
    "STORE_CALIBRATION": CALIBRATION,
    "SET_KEY": {"key": bytes(range(1, 33)), "access": 1},
    "CHALLENGE": {"host_nonce": bytes(32)},
    "SEALED": {"counter": 1, "tag": bytes(32), "sealed": b""},
    "SELF_TEST": {"seconds": 5},
    "TEST_LINK": {"size": 3},
    "TEST_RATE": {"slow_s": 0},
}


def _id(name):
    return name.lower().replace("_", "-")


def _set(index, name, value):
    return command("SET", index, setting=SETTING_NUMBERS[name], value=value)


def _raw(number, index, arguments, version=1):
    return pack.record("COMMAND", 0, index, {"command": number, "arguments": arguments}, version)


def _error(number, index, error):
    return pack.record("ANSWER", 0, index, {"command": number, "error": pack.ERRORS[error], "results": b""})


def _whole(record):
    return {"record": record.hex()}


def _bytes(data, *expect):
    return {"send": data.hex(), "expect": list(expect)}


def _send(record, *expect):
    return _bytes(pack.frame(record), *expect)


def _case(id_, comment, flags, *steps):
    return {"id": id_, "comment": comment, "flags": flags, "steps": list(steps)}
