"""Photos from a page, in pieces."""

import base64

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.errors import UsageError
from breakyard.field.pictures import MAX_AT_ONCE, MAX_PIECE, MAX_PIECES, Uploads


@given(photo=st.binary(min_size=1, max_size=20_000))
def test_a_photo_is_whole_again(photo: bytes) -> None:
    text = base64.b64encode(photo).decode()
    pieces = [text[at : at + MAX_PIECE] for at in range(0, len(text), MAX_PIECE)]
    uploads = Uploads()
    got = [uploads.take("run-1", str(n), str(len(pieces)), piece) for n, piece in enumerate(pieces)]

    assert got[:-1] == [None] * (len(pieces) - 1)
    assert got[-1] == photo


@pytest.mark.parametrize(
    ("part", "parts", "data", "said"),
    [
        ("x", "1", "AAAA", "has a number"),
        ("0", "1", "not base 64", "base 64"),
        ("0", str(MAX_PIECES + 1), "AAAA", "too large"),
        ("-1", "2", "AAAA", "too large"),
        ("1", "2", "AAAA", "missing"),
    ],
)
def test_what_is_no_piece_is_refused(part: str, parts: str, data: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        Uploads().take("run-1", part, parts, data)


def test_what_is_begun_and_never_ended_takes_no_more_room_than_a_few() -> None:
    uploads = Uploads()
    for number in range(50):
        uploads.take(f"run-{number}", "0", "2", "AAAA")

    with pytest.raises(UsageError, match="missing"):
        uploads.take("run-0", "1", "2", "AAAA")
    assert uploads.take("run-49", "1", "2", "AAAA") == bytes(6)
    assert len(uploads._begun) < MAX_AT_ONCE
