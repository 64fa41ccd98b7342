"""Pictures of specimens: what is kept of them, and what is not."""

import io
from pathlib import Path

import pytest
from PIL import Image

from breakyard.errors import DataError, UsageError
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.photos import MOST_PIXELS, add_photo, bare, for_page, photos_of
from breakyard.session.session import Session, create_session

ORIENTATION, MAKER, GPS = 0x0112, 0x010F, 0x8825
"""Tags of EXIF (CIPA DC-008)."""


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """One specimen."""
    return create_session(tmp_path / "day", SessionInfo(), [Specimen("S1", "bonded")])


def photo(size: tuple[int, int] = (60, 40), *, told: bool = True, kind: str = "JPEG") -> bytes:
    """Red to the left, blue to the right; as a telephone held upright leaves it, with a place and a maker. Invented."""
    picture = Image.new("RGB", size, "red")
    picture.paste("blue", (size[0] // 2, 0, *size))
    exif = Image.Exif()
    if told:
        exif[ORIENTATION], exif[MAKER] = 6, "invented"
        exif.get_ifd(GPS)[1] = "N"
    out = io.BytesIO()
    picture.save(out, kind, **({"exif": exif} if told else {}))
    return out.getvalue()


def test_nothing_but_the_pixels_is_kept_and_they_stand_upright(tmp_path: Path) -> None:
    """Orientation 6 is turned by 90 degrees clockwise (EXIF): what was left is on top. A file or its bytes alike."""
    (tmp_path / "p.jpg").write_bytes(photo())

    data = bare(tmp_path / "p.jpg")

    assert data == bare(photo())
    with Image.open(io.BytesIO(data)) as kept:
        assert kept.size == (40, 60)
        assert not kept.getexif()
        top, bottom = kept.getpixel((20, 10)), kept.getpixel((20, 50))
    assert top[0] > 200 > 60 > top[2]  # type: ignore[index]
    assert bottom[2] > 200 > 60 > bottom[0]  # type: ignore[index]
    assert b"invented" not in data


def test_a_bare_picture_stays_as_it_is() -> None:
    """Byte for byte; one that is too long does not."""
    assert bare(photo(told=False)) == photo(told=False)
    with Image.open(io.BytesIO(bare(photo((MOST_PIXELS + 600, 20), told=False)))) as kept:
        assert kept.size[0] == MOST_PIXELS


def test_photos_are_numbered_and_none_is_kept_twice(session: Session) -> None:
    """In the order they came."""
    first = add_photo(session, "S1", photo())
    second = add_photo(session, "S1", photo((80, 40), kind="PNG"))

    assert [first.name, second.name] == ["1.jpg", "2.jpg"]
    assert add_photo(session, "S1", photo()) == first
    assert photos_of(session, "S1") == (first, second)
    assert [one.name for one in for_page(session, "S1", ())] == ["1.jpg", "2.jpg"]


def test_what_is_no_photo_or_nobodys_is_refused(session: Session, tmp_path: Path) -> None:
    """With its name, where it has one."""
    (tmp_path / "x.jpg").write_bytes(b"no picture")
    with pytest.raises(DataError, match=r"x\.jpg: this is no picture"):
        add_photo(session, "S1", tmp_path / "x.jpg")
    with pytest.raises(DataError, match=r"the photo: this is no picture"):
        add_photo(session, "S1", b"no picture")
    with pytest.raises(DataError, match="there is no such file"):
        bare(tmp_path / "gone.jpg")
    with pytest.raises(UsageError, match='no specimen "S2"; there is S1'):
        add_photo(session, "S2", photo())
    assert for_page(session, "S1", ["gone.jpg"])[0].problem.startswith("not found")
