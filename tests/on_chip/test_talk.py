"""How a recording is found among what the converter made; needs no chip."""

import numpy as np
import pytest
from chip.talk import beginning


def test_a_recording_is_found_though_its_first_count_came_before() -> None:
    """The noise has some 200 values, so a count alone comes about twice in four seconds."""
    made = np.array([20500, 20411, 20500, 20433, 20500, 20411, 20460])

    assert beginning(made, made[4:]) == 4


def test_a_recording_that_may_begin_at_two_places_is_refused() -> None:
    """Better than to compare it with the wrong one."""
    made = np.array([20500, 20411, 20433, 20500, 20411])

    with pytest.raises(AssertionError, match="2 times"):
        beginning(made, made[:2])


def test_a_recording_that_was_never_made_is_refused() -> None:
    """Its samples may each have been made, in another order."""
    with pytest.raises(AssertionError, match="0 times"):
        beginning(np.array([20500, 20411, 20433]), np.array([20411, 20500]))
