"""Commands over a radio link to a logger that has a key, or that has runs in its store, and what it must answer.

The tester gives the logger key, access, settings, name and store, and then goes through the steps. Sealed steps need
the session that the tester began, so they hold what is to be sealed, not bytes of a link.
"""

from . import pack, seals
from .conversations import DEFAULTS
from .pack import COMMANDS, answer, command
from .small_run import whole

FLAGS = {
    "Sealed": "Commands under the seal of a session.",
    "Refused": "What is not open without the key, or not at all.",
    "Privacy": "What strangers are told.",
    "Damaged": "A record in the store is damaged.",
}

ACCESS = {entry["name"]: entry["value"] for entry in pack.TABLE["accesses"]}
PRIVACY = {entry["name"]: entry["value"] for entry in pack.TABLE["privacies"]}
NAME = "slipway"
SERIAL = bytes.fromhex("0102030405060708")


def cases():
    """Yield every case, in a fixed order."""
    yield from _sealed()
    yield from _privacy()
    yield from _stored()


def _sealed():
    stop = _inner("STOP")
    yield _case(
        "sealed-in-sealed",
        "SEALED within SEALED is a command that does not exist.",
        ["Sealed", "Refused"],
        {"challenge": 1},
        _seal(2, 1, _inner("SEALED") + bytes(36) + stop, _error("SEALED", 2, "UNKNOWN_COMMAND")),
        _seal(3, 2, stop, _record(answer("STOP", 3, run=0))),
    )
    key = _inner("SET_KEY") + bytes(range(1, 33)) + bytes([ACCESS["EVERYTHING"]])
    yield _case(
        "set-key-sealed",
        "A key is set over a cable only, even under a right seal; the key and the session stay.",
        ["Sealed", "Refused"],
        {"challenge": 1},
        _seal(2, 1, key, _error("SET_KEY", 2, "NOT_ALLOWED")),
        _seal(3, 2, stop, _record(answer("STOP", 3, run=0))),
        _open(command("ARM", 4), _error("ARM", 4, "NOT_ALLOWED")),
    )
    yield _case(
        "counter-again",
        "The same bytes again get the same answer; the same counter in other bytes is refused, a higher one is not.",
        ["Sealed", "Refused"],
        {"challenge": 1},
        _seal(2, 5, stop, _record(answer("STOP", 2, run=0))),
        _seal(2, 5, stop, {"again": 1}),
        _seal(3, 5, stop, _error("SEALED", 3, "NOT_ALLOWED")),
        _seal(4, 4, stop, _error("SEALED", 4, "NOT_ALLOWED")),
        _seal(5, 6, stop, _record(answer("STOP", 5, run=0))),
    )
    yield _case(
        "wrong-tag",
        "A wrong seal is refused, and what comes right after it is not looked at.",
        ["Sealed", "Refused"],
        {"challenge": 1},
        _open(
            command("SEALED", 2, counter=1, tag=bytes(32), sealed=stop), _error("SEALED", 2, "NOT_ALLOWED")
        ),
        _seal(3, 2, stop, _error("SEALED", 3, "TOO_SOON")),
        {"wait_ms": 300},
        _seal(4, 3, stop, _record(answer("STOP", 4, run=0))),
    )
    once_more = command("CHALLENGE", 2, host_nonce=seals.HOST_NONCE)
    proof = {
        "kind": pack.KINDS["ANSWER"]["value"],
        "run": 0,
        "index": 3,
        "fields": {"command": COMMANDS["CHALLENGE"]["value"], "error": 0},
    }
    yield _case(
        "challenge-too-soon",
        "A CHALLENGE right after another is refused; the session of the first one goes on.",
        ["Sealed", "Refused"],
        {"challenge": 1},
        _open(once_more, _error("CHALLENGE", 2, "TOO_SOON")),
        _seal(4, 1, stop, _record(answer("STOP", 4, run=0))),
        {"wait_ms": 300},
        _open(command("CHALLENGE", 3, host_nonce=seals.HOST_NONCE), proof),
        _seal(5, 2, stop, _error("SEALED", 5, "NOT_ALLOWED")),
    )


def _privacy():
    for id_, comment, privacy, access, hidden in (
        ("hello-key-only", "With a key and KEY_ONLY nobody is told.", "AS_ACCESS", "KEY_ONLY", True),
        ("hello-as-access", "With live numbers open to all, who it is is too.", "AS_ACCESS", "STATUS", False),
        ("hello-open", "Told to all, because its owner says so.", "OPEN", "KEY_ONLY", False),
        ("hello-private", "Told to nobody, whatever else is open.", "PRIVATE", "EVERYTHING", True),
    ):
        setting = {"privacy": PRIVACY[privacy]}
        yield _case(
            id_,
            comment + " Under a seal it tells.",
            ["Privacy", "Sealed"],
            _open(command("HELLO", 1), *_greeting(1, hidden, setting)),
            {"challenge": 2},
            _seal(3, 1, _inner("HELLO"), *_greeting(3, False, setting)),
            access=access,
            settings=setting,
        )


def _stored():
    run = whole()
    frames = run.frames()
    spoilt = bytearray(frames[4])
    spoilt[-7] ^= 1  # of its last sample's step: only the checksum tells
    frames[4] = bytes(spoilt)
    yield _case(
        "read-over-damage",
        "A record that is damaged in the store is passed over, and counted.",
        ["Damaged"],
        _open(
            command("READ", 1, run=4, first=0, count=64, follow=0),
            *(_record(one) for index, one in enumerate(run.records) if index != 4),
            _record(answer("READ", 1, next=10, finished=1)),
        ),
        _open(
            command("READ", 2, run=4, first=4, count=1, follow=0),
            _record(answer("READ", 2, next=5, finished=0)),
        ),
        key=False,
        access="READING",
        stored=b"".join(frames),
    )


def _greeting(index, hidden, settings):
    name = "" if hidden else NAME
    hello = {
        "protocol": 1,
        "name": name,
        "commands": pack.LIMITS["COMMANDS_AT_ONCE"],
        "window": pack.LIMITS["COMMAND_WINDOW"],
    }
    serial = (bytes(8) if hidden else SERIAL).hex()
    return (
        {"kind": pack.KINDS["IDENTITY"]["value"], "run": 0, "fields": {"protocol": 1, "serial": serial}},
        {"kind": pack.KINDS["SETTINGS"]["value"], "run": 0, "fields": DEFAULTS | settings},
        _record(answer("HELLO", index, **hello)),
    )


def _inner(name):
    """The number of a command, before its arguments, as SEALED has it."""
    return bytes([COMMANDS[name]["value"]])


def _record(record):
    return {"record": record.hex()}


def _error(name, index, error):
    return _record(answer(name, index, error))


def _open(record, *expect):
    return {"open": record.hex(), "expect": list(expect)}


def _seal(index, counter, inner, *expect):
    return {"index": index, "counter": counter, "sealed": inner.hex(), "expect": list(expect)}


def _case(id_, comment, flags, *steps, key=True, access="STATUS", settings=None, stored=b""):
    return {
        "id": id_,
        "comment": comment,
        "flags": flags,
        "serial": SERIAL.hex(),
        "name": NAME,
        "key": seals.KEY.hex() if key else "",
        "access": ACCESS[access],
        "settings": settings or {},
        "stored": [{"run": 4, "bytes": stored.hex()}] if stored else [],
        "steps": list(steps),
    }
