"""COBS and CRC-32 against published values."""

import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.wire.bulk import CRC_RESIDUE
from breakyard.wire.cobs import stuff, unstuff
from breakyard.wire.damage import DamagedRecord
from breakyard.wire.layout import Damage

PUBLISHED = {
    # S. Cheshire and M. Baker, IEEE/ACM Transactions on Networking 7 (1999), the packet in the paper's figure
    # (from memory, recomputed with the package cobs).
    "4500002c4c79000040064f37": "024501042c4c79010540064f37",
    # The rest: the usual examples of the encyclopedia's article on COBS (from memory, recomputed with cobs).
    "": "01",
    "00": "0101",
    "0000": "010101",
    "001100": "01021101",
    "11220033": "0311220233",
    "11223344": "0511223344",
    "11000000": "0211010101",
    bytes(range(1, 255)).hex(): "ff" + bytes(range(1, 255)).hex(),
    bytes(range(255)).hex(): "01ff" + bytes(range(1, 255)).hex(),
    bytes(range(1, 256)).hex(): "ff" + bytes(range(1, 255)).hex() + "02ff",
    bytes(range(2, 256)).hex() + "00": "ff" + bytes(range(2, 256)).hex() + "0101",
    bytes(range(3, 256)).hex() + "0001": "fe" + bytes(range(3, 256)).hex() + "0201",
}


@pytest.mark.parametrize("plain", PUBLISHED)
def test_published_examples(plain):
    """Stuffing gives the published bytes, and undoing it the plain ones."""
    assert stuff(bytes.fromhex(plain)).hex() == PUBLISHED[plain]
    assert unstuff(bytes.fromhex(PUBLISHED[plain])).hex() == plain


@given(st.binary(max_size=700))
def test_stuffing_is_undone(data):
    """No zero byte is left, and nothing is lost."""
    body = stuff(data)

    assert 0 not in body
    assert unstuff(body) == data


@given(st.binary(max_size=254))
def test_a_record_grows_by_one_byte(data):
    """The promise that bulk decoding relies on."""
    assert len(stuff(data)) == len(data) + 1


@given(st.binary(max_size=300))
def test_any_bytes_are_unstuffed_or_refused(body):
    """Nothing but the protocol's own error escapes, and what is accepted stuffs to the same bytes again."""
    result: object
    try:
        result = stuff(unstuff(body))
    except DamagedRecord as error:
        result = error.reason

    assert result in (body, Damage.BAD_STUFFING) or len(body) > 255


@given(st.binary(min_size=2, max_size=300))
def test_the_third_party_package_agrees(data):
    """The package cobs, which shares no code with ours, stuffs alike."""
    cobs = pytest.importorskip("cobs.cobs", reason="the package cobs is not installed")
    assert stuff(data) == cobs.encode(data)


def test_crc_check_values():
    """CRC-32 of "123456789" and the residue: G. Cook, Catalogue of parametrised CRC algorithms, CRC-32/ISO-HDLC."""
    assert zlib.crc32(b"123456789") == 0xCBF43926
    assert CRC_RESIDUE ^ 0xFFFFFFFF == 0xDEBB20E3
    for data in (b"", b"123456789", bytes(250)):
        assert zlib.crc32(data + zlib.crc32(data).to_bytes(4, "little")) == CRC_RESIDUE
