"""The pairing code: right, wrong, and guessed too often."""

import pytest

from breakyard.errors import UsageError
from breakyard.field.code import DIGITS, WAIT_S, WRONG_IN_A_ROW, PairingCode


def test_guessing_is_slowed_down_and_the_right_one_works_afterwards() -> None:
    """Ten wrong codes within a minute; then none is looked at, not even the right one, until the minute is over."""
    now = [0.0]
    code = PairingCode(lambda: now[0])
    assert code.text.isdigit()
    assert len(code.text) == DIGITS

    code.check(code.text)
    with pytest.raises(UsageError, match="pair first"):
        code.check("")
    for _ in range(WRONG_IN_A_ROW):
        with pytest.raises(UsageError, match="another code"):
            code.check("wrong")
    with pytest.raises(UsageError, match="too many"):
        code.check(code.text)
    now[0] = WAIT_S
    code.check(code.text)


def test_the_code_may_be_typed_as_it_is_shown() -> None:
    """In two halves with a space between them, and with one behind it."""
    code = PairingCode()

    code.check(f"{code.text[:4]} {code.text[4:]} ")
    with pytest.raises(UsageError, match="pair first"):
        code.check(" ")
