"""Records: checksum, fields, texts."""

from binascii import crc32

from logger.core import layout, record


def test_crc_check_value():
    # The check value of CRC-32/ISO-HDLC in the usual catalogues of CRC parameters (from memory).
    assert crc32(b"123456789") == 0xCBF43926


def test_fields_come_back_as_they_went_in():
    buffer = bytearray(254)
    at = record.begin(buffer, layout.KIND_COMMAND, 0, 0xFFFFFFFF)
    end = record.pack(buffer, at, "BHIt", (255, 65535, 0xFFFFFFFF, b"mast foot"))
    length = record.finish(buffer, end)

    assert record.damage(buffer, length) == 0
    assert record.unpack(buffer, at, end, "BHIt") == [255, 65535, 0xFFFFFFFF, b"mast foot", end]


def test_any_changed_bit_is_noticed():
    buffer = bytearray(254)
    end = record.pack(buffer, record.begin(buffer, layout.KIND_COMMAND, 0, 5), "BI", (2, 1000))
    length = record.finish(buffer, end)
    for i in range(length):
        for bit in range(8):
            buffer[i] ^= 1 << bit
            assert record.damage(buffer, length) == layout.DAMAGE_BAD_CHECKSUM
            buffer[i] ^= 1 << bit


def test_too_short_and_version_0():
    buffer = bytearray(254)
    length = record.finish(buffer, record.begin(buffer, layout.KIND_COMMAND, 0, 5))
    assert length == layout.MIN_RECORD
    assert record.damage(buffer, length) == 0
    assert record.damage(buffer, length - 1) == layout.DAMAGE_TOO_SHORT

    buffer[1] = 0
    record.finish(buffer, 8)

    assert record.damage(buffer, length) == layout.DAMAGE_BAD_VALUE


def test_short_fields_are_refused():
    buffer = bytearray(20)

    assert record.unpack(buffer, 0, 3, "I") is None
    assert record.unpack(buffer, 0, 0, "t") is None
    assert record.unpack(bytearray(b"\x02a"), 0, 2, "t") is None
    assert record.unpack(bytearray(31), 0, 31, "S") is None


def test_floats_must_be_numbers():
    # IEEE 754: an exponent of all ones is an infinity or no number.
    for good in (b"\x00\x00\x00\x00", b"\xff\xff\x7f\x7f", b"\xff\xff\x7f\xff", b"\x00\x00\x80\x3f"):
        assert record.unpack(bytearray(good), 0, 4, "f") == [good, 4]
    for bad in (b"\x00\x00\x80\x7f", b"\x00\x00\x80\xff", b"\x01\x00\x80\x7f", b"\x00\x00\xc0\xff"):
        assert record.unpack(bytearray(bad), 0, 4, "f") is None


def test_signed_fields():
    for raw, value in ((b"\x00\x00\x80", -8388608), (b"\xff\xff\x7f", 8388607), (b"\xff\xff\xff", -1)):
        assert record.unpack(bytearray(raw), 0, 3, "i") == [value, 3]


def test_text_limits():
    assert record.unpack(bytearray(b"\x40" + b"a" * 64), 0, 65, "t") == [b"a" * 64, 65]
    assert record.unpack(bytearray(b"\x41" + b"a" * 65), 0, 66, "t") is None


def test_text_must_be_utf8():
    # RFC 3629: section 4 lists what is well formed; section 10 warns of C0 80 and of surrogates.
    good = (
        b"",
        b"a",
        b"\xc3\xa9",
        b"\xe2\x89\xa2\xce\x91.",
        b"\xed\x9f\xbf",
        b"\xee\x80\x80",
        b"\xf0\xa3\x8e\xb4",
    )
    bad = (
        b"\x80",
        b"\xc0\x80",
        b"\xc1\xbf",
        b"\xc3",
        b"\xe0\x9f\xbf",
        b"\xed\xa0\x80",
        b"\xf0\x8f\xbf\xbf",
        b"\xf4\x90\x80\x80",
        b"\xf5\x80\x80\x80",
        b"\xff",
        b"a\xe2\x89",
    )
    for text in good:
        assert record.unpack(bytearray([len(text)]) + text, 0, 1 + len(text), "t") is not None, text
    for text in bad:
        assert record.unpack(bytearray([len(text)]) + text, 0, 1 + len(text), "t") is None, text


def test_long_texts_are_cut_at_a_whole_character():
    assert record.text_bytes("a" * 65) == b"a" * 64
    assert record.text_bytes("a" * 63 + "\u00e9") == b"a" * 63
    assert record.text_bytes("a" * 62 + "\u00e9") == b"a" * 62 + b"\xc3\xa9"
    assert record.text_bytes("a" * 62 + "\u20ac") == b"a" * 62


def test_samples_at_the_rails():
    buffer = bytearray(10)
    end = record.put_sample(buffer, 0, layout.RAIL_LOW, 4, 8191)
    end = record.put_sample(buffer, end, layout.RAIL_HIGH, 0, 0)

    assert bytes(buffer) == b"\x00\x00\x80\xff\x9f\xff\xff\x7f\x00\x00"
    assert end == 10
