"""Pictures as files: by their ending, whole or not at all."""

from pathlib import Path
from typing import Any

import pytest

from breakyard.errors import UsageError
from breakyard.session.files.pictures import save_picture


class Drawn:
    def png(self) -> bytes:
        return b"\x89PNG"

    def svg(self) -> bytes:
        return b"<svg/>"


def test_the_ending_says_the_kind(tmp_path: Path) -> None:
    """.png and .svg, in small or capital letters; anything else is refused before it is drawn."""
    drawn: Any = Drawn()

    save_picture(drawn, tmp_path / "a.PNG")
    save_picture(drawn, tmp_path / "a.svg")

    assert (tmp_path / "a.PNG").read_bytes() == b"\x89PNG"
    assert (tmp_path / "a.svg").read_bytes() == b"<svg/>"
    with pytest.raises(UsageError, match=r"a\.jpg: a picture is written as"):
        save_picture(drawn, tmp_path / "a.jpg")
    assert not (tmp_path / "a.jpg").exists()
