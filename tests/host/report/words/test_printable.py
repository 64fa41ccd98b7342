"""Texts of strangers on a terminal."""

from hypothesis import given
from hypothesis import strategies as st

from breakyard.report.words.printable import printable


@given(st.text())
def test_nothing_can_rewrite_the_terminal(text: str) -> None:
    """No control character but line end and tab comes through; ordinary letters do, and the length stays."""
    shown = printable(text)

    assert len(shown) == len(text)
    assert all(sign.isprintable() or sign in "\n\t" for sign in shown)
    assert printable("Ösen \t3 kN\n") == "Ösen \t3 kN\n"
