"""Stuffing: the rules of Cheshire and Baker's paper, in both directions."""

from firmware_support import raises

from logger.core import cobs


def stuff(data):
    target = bytearray(len(data) + 10)
    end = cobs.stuff(bytearray(data), len(data), target, 0)
    return bytes(target[:end])


def unstuff(data):
    buffer = bytearray(data)
    length = cobs.unstuff(buffer, len(buffer))
    return None if length < 0 else bytes(buffer[:length])


# From the rules in section 3 of the paper: a code n stands for n - 1 bytes and a zero, 255 for 254 bytes and none.
PAIRS = (
    (b"", b"\x01"),
    (b"\x00", b"\x01\x01"),
    (b"\x00\x00", b"\x01\x01\x01"),
    (b"\x11\x22\x00\x33", b"\x03\x11\x22\x02\x33"),
    (b"\x11\x22\x33\x44", b"\x05\x11\x22\x33\x44"),
    (b"\x11\x00\x00\x00", b"\x02\x11\x01\x01\x01"),
    (bytes(range(1, 255)), b"\xff" + bytes(range(1, 255))),
    (b"\x00" + bytes(range(1, 255)), b"\x01\xff" + bytes(range(1, 255))),
    (bytes(range(1, 256)), b"\xff" + bytes(range(1, 255)) + b"\x02\xff"),
)


def test_pairs_of_the_rules():
    for plain, stuffed in PAIRS:
        assert stuff(plain) == stuffed
        assert unstuff(stuffed) == plain


def test_every_length_of_a_record_costs_one_byte_and_comes_back():
    for length in range(255):
        for zero_every in (1, 2, 7, 300):
            plain = bytes([0 if i % zero_every == 0 else 1 + i % 255 for i in range(length)])
            stuffed = stuff(plain)

            assert len(stuffed) == length + 1
            assert 0 not in stuffed
            assert unstuff(stuffed) == plain


def test_a_frame_has_a_zero_on_both_sides():
    target = bytearray(300)

    assert cobs.frame(bytearray(b"\x05\x00"), 2, target) == 5
    assert bytes(target[:5]) == b"\x00\x02\x05\x01\x00"


def test_a_code_past_the_end_is_refused():
    for bad in (b"\x02", b"\x05\x01\x01", b"\xff\x01", b"\x02\x11\x03\x11", b"\x00"):
        assert unstuff(bad) is None


def test_longest_record_fits_the_longest_frame():
    target = bytearray(257)

    assert cobs.frame(bytearray([7] * 254), 254, target) == 257
    assert raises(IndexError, cobs.frame, bytearray([7] * 254), 254, bytearray(256))
