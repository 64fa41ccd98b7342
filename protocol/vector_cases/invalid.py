"""What a reader must refuse, and with which reason. Each case has one fault only."""

from . import pack
from .valid import (
    CALIBRATION,
    IDENTITY,
    LOG,
    MARK,
    MEANS,
    PEAK_WINDOW,
    RUN_BEGIN,
    RUN_END,
    SAMPLES,
    STATUS,
    TYPICAL,
)

FLAGS = {
    "Stuffing": "The bytes between the delimiters are not stuffed bytes.",
    "Size": "Fewer or more bytes than a record can have.",
    "Checksum": "The checksum does not agree.",
    "Length": "The payload does not have the length that its fields need.",
    "Value": "A field has a value that the table rules out.",
}


def cases():
    """Yield every case, in a fixed order."""
    yield from _stuffing()
    yield from _sizes()
    yield from _checksums()
    yield from _lengths()
    yield from _values()


def _stuffing():
    sound = pack.stuff(pack.record("STATUS", 0, 1, STATUS))
    yield _body("code-past-end", "The first code points past the end.", "BAD_STUFFING", b"\xfe" + sound[1:])
    yield _body("cut-in-block", "The last byte is missing.", "BAD_STUFFING", sound[:-1])
    yield _body("last-code-past-end", "One byte too many, taken for a code.", "BAD_STUFFING", sound + b"\x02")
    yield _body("lone-code", "A single code that promises bytes.", "BAD_STUFFING", b"\x05")
    yield _body("full-block-cut", "A block of 254 with only 253.", "BAD_STUFFING", b"\xff" + b"\x11" * 253)


def _sizes():
    yield _body("nothing-stuffed", "A lone code 1: a record of no bytes.", "TOO_SHORT", b"\x01")
    yield _record("header-only", "A header without checksum.", "TOO_SHORT", pack.header(4, 1, 3))
    yield _record("eleven-bytes", "One byte less than header and checksum.", "TOO_SHORT", bytes(11))
    yield _record(
        "checksum-right-too-short",
        "A checksum that agrees does not help.",
        "TOO_SHORT",
        pack.seal(b"\x04\x01\x01"),
    )
    long = pack.seal(pack.header(250, 1, 3) + bytes(i % 255 + 1 for i in range(243)))
    yield _record("255-bytes", "One byte more than a record may have; stuffed 256 or more.", "TOO_LONG", long)
    yield _record(
        "1000-bytes", "Far too long, though its checksum agrees.", "TOO_LONG", pack.seal(bytes(996))
    )
    yield _body(
        "extra-code-at-end",
        "A full block and a needless last code: 256 stuffed bytes are too many.",
        "TOO_LONG",
        pack.stuff(_no_zero()) + b"\x01",
    )


def _no_zero():
    values = {"command": 250, "error": 9, "results": bytes(i % 251 + 1 for i in range(240))}
    data = pack.record("ANSWER", 0x0101, 0x01010101, values)
    assert b"\0" not in data
    assert len(data) == 254
    return data


def _checksums():
    sound = pack.record("SAMPLES", 4, 5, SAMPLES)
    yield _record("count-changed", "One bit of a count.", "BAD_CHECKSUM", _flip(sound, 21, 1))
    yield _record("index-changed", "One bit of the index.", "BAD_CHECKSUM", _flip(sound, 4, 1))
    yield _record(
        "kind-changed",
        "One bit of the kind: an unknown kind is damaged if its checksum says so.",
        "BAD_CHECKSUM",
        _flip(sound, 0, 0x80),
    )
    yield _record(
        "checksum-changed",
        "One bit of the checksum itself.",
        "BAD_CHECKSUM",
        _flip(sound, len(sound) - 1, 0x80),
    )
    yield _record(
        "checksum-big-endian",
        "The checksum's bytes in the wrong order.",
        "BAD_CHECKSUM",
        sound[:-4] + sound[:-5:-1],
    )
    yield _record("byte-lost", "A sample has lost a byte.", "BAD_CHECKSUM", sound[:23] + sound[24:])
    yield _record("all-zero", "Twelve zero bytes.", "BAD_CHECKSUM", bytes(12))


def _lengths():
    for name, (run, index, values) in TYPICAL.items():
        kind = pack.KINDS[name]
        head = pack.header(kind["value"], run, index)
        payload = pack.pack_fields(kind["fields"], values)
        short = payload[:0] if kind["fields"][-1]["type"] == "rest" else payload[:-1]
        yield _record(
            f"{_id(name)}-short", "The last field is not whole.", "BAD_LENGTH", pack.seal(head + short)
        )
        if kind["fields"][-1]["type"] != "rest":
            yield _record(
                f"{_id(name)}-long",
                "One byte after the last field, in version 1.",
                "BAD_LENGTH",
                pack.seal(head + payload + b"\x00"),
            )
    yield _record(
        "samples-newer-short",
        "A newer version may be longer, never shorter.",
        "BAD_LENGTH",
        pack.seal(pack.header(4, 1, 3, 2) + pack.pack_fields(pack.KINDS["SAMPLES"]["fields"], SAMPLES)[:-1]),
    )
    yield _record(
        "samples-number-too-high",
        "It promises one sample more than there is.",
        "BAD_LENGTH",
        pack.seal(_samples_head(2) + b"\x01\x02\x03\x00\x00"),
    )
    yield _record(
        "empty-payload", "SETTINGS without any field.", "BAD_LENGTH", pack.seal(pack.header(2, 1, 2))
    )


def _values():
    data = bytearray(pack.record("MARK", 1, 5, MARK)[:-4])
    data[1] = 0
    yield _record("version-0", "No version has the number 0.", "BAD_VALUE", pack.seal(bytes(data)))
    yield _record(
        "unknown-kind-version-0",
        "Nor with an unknown kind.",
        "BAD_VALUE",
        pack.seal(pack.header(99, 1, 1, 0) + b"x"),
    )
    pairs = [
        ("SAMPLES", SAMPLES, "first_us"),
        ("PEAK_WINDOW", PEAK_WINDOW, "first_us"),
        ("MARK", MARK, "mark_us"),
        ("RUN_END", RUN_END, "end_us"),
        ("STATUS", STATUS, "now_us"),
        ("LOG", LOG, "log_us"),
        ("MEANS", MEANS, "first_us"),
    ] + [
        ("RUN_BEGIN", RUN_BEGIN, name)
        for name in ("first_us", "trigger_us", "clock_device_us", "clock_utc_us")
    ]
    for kind, values, name in pairs:
        yield _record(
            f"{_id(kind)}-{_id(name)}-million",
            "Microseconds end at 999999.",
            "BAD_VALUE",
            pack.record(kind, 1, 5, values | {name: 1000000}),
        )
    for number in (0, 47):
        samples = b"\x01\x02\x03\x00\x00" * min(number, 46)
        yield _record(
            f"samples-{number}",
            "A SAMPLES record has 1 to 46 samples.",
            "BAD_VALUE",
            pack.seal(_samples_head(number) + samples),
        )
    for number in (0, 44):
        values = PEAK_WINDOW | {"samples": [(1, 0, 0)] * number}
        yield _record(
            f"peak-window-{number}",
            "A PEAK_WINDOW has 1 to 43 samples.",
            "BAD_VALUE",
            pack.record("PEAK_WINDOW", 1, 9, values),
        )
    yield _record(
        "first-step",
        "The first sample has its time in the fields before it.",
        "BAD_VALUE",
        pack.record("SAMPLES", 1, 3, SAMPLES | {"samples": [(1, 1, 0), (2, 625, 0)]}),
    )
    yield _record(
        "peak-window-first-step",
        "The same in a PEAK_WINDOW.",
        "BAD_VALUE",
        pack.record("PEAK_WINDOW", 1, 3, PEAK_WINDOW | {"samples": [(1, 8191, 0)]}),
    )
    for number in (0, 18):
        means = [(1, 0, 0, 5, 5, 5)] * min(number, 17)
        yield _record(
            f"means-{number}",
            "A MEANS record has 1 to 17 means.",
            "BAD_VALUE",
            pack.seal(
                pack.header(14, 1, 3)
                + pack.pack_fields(pack.KINDS["MEANS"]["fields"][:3], {k: MEANS[k] for k in list(MEANS)[:3]})
                + bytes([number])
                + pack.pack_value("means", means)[1:]
            ),
        )
    yield _record(
        "means-first-step",
        "The first mean has its time in the fields before it.",
        "BAD_VALUE",
        pack.record("MEANS", 1, 3, MEANS | {"means": [(1, 0, 1, 5, 5, 5)]}),
    )
    yield _record(
        "means-of-nothing",
        "A mean of no samples.",
        "BAD_VALUE",
        pack.record("MEANS", 1, 3, MEANS | {"means": [(1, 0, 0, 5, 5, 5), (0, 0, 9, 5, 5, 5)]}),
    )
    yield _record(
        "calibration-scale-0",
        "Counts cannot be divided by a scale of nothing.",
        "BAD_VALUE",
        pack.record("CALIBRATION", 0, 5, CALIBRATION | {"scale_counts": 0}),
    )
    for id_, comment, value in (
        ("infinity", "A force without end.", float("-inf")),
        ("nan", "A force that is no number.", float("nan")),
    ):
        yield _record(
            f"calibration-{id_}",
            comment,
            "BAD_VALUE",
            pack.record("CALIBRATION", 0, 5, CALIBRATION | {"c2_n": value}),
        )
    head = pack.header(5, 1, 4) + pack.pack_fields(
        pack.KINDS["MARK"]["fields"][:3], {k: MARK[k] for k in ("mark_s", "mark_us", "code")}
    )
    for id_, comment, raw in (
        ("lone-continuation", "UTF-8 cannot begin with a continuation byte.", b"\x80"),
        ("cut-character", "A character of three bytes, cut.", b"ab\xe2\x82"),
        ("overlong", "An overlong form of a slash.", b"\xc0\xaf"),
        ("surrogate", "Half a surrogate pair.", b"\xed\xa0\x80"),
        ("beyond-unicode", "Beyond the last code point.", b"\xf4\x90\x80\x80"),
        ("latin-1", "Latin-1 is not UTF-8.", b"Z\xfcrich"),
    ):
        yield _record(f"text-{id_}", comment, "BAD_VALUE", pack.seal(head + bytes([len(raw)]) + raw))
    yield _record(
        "text-65", "A text has at most 64 bytes.", "BAD_VALUE", pack.seal(head + b"\x41" + b"x" * 65)
    )
    identity = pack.record("IDENTITY", 1, 1, IDENTITY | {"interpreter": ""})[:-5]
    yield _record(
        "identity-last-text", "The last of several texts.", "BAD_VALUE", pack.seal(identity + b"\x02\xff\xfe")
    )


def _samples_head(number):
    return (
        pack.header(4, 1, 3)
        + pack.pack_fields(
            pack.KINDS["SAMPLES"]["fields"][:3], {"first_sample": 0, "first_s": 1, "first_us": 0}
        )
        + bytes([number])
    )


def _flip(data, place, bits):
    changed = bytearray(data)
    changed[place] ^= bits
    return bytes(changed)


def _id(name):
    return name.lower().replace("_", "-")


_FLAG_OF = {
    "BAD_STUFFING": "Stuffing",
    "TOO_SHORT": "Size",
    "TOO_LONG": "Size",
    "BAD_CHECKSUM": "Checksum",
    "BAD_LENGTH": "Length",
    "BAD_VALUE": "Value",
}


def _record(id_, comment, error, data):
    return _case(id_, comment, error, data.hex(), pack.stuff(data))


def _body(id_, comment, error, body):
    return _case(id_, comment, error, None, body)


def _case(id_, comment, error, record, body):
    assert b"\0" not in body
    return {
        "id": id_,
        "comment": comment,
        "flags": [_FLAG_OF[error]],
        "error": error,
        "value": pack.DAMAGE[error],
        "record": record,
        "body": body.hex(),
    }
