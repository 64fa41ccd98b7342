"""The picture to pass on: its sizes, that nothing is too small or leaves it, and what it says first."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from breakyard.comparison import compare, observe
from breakyard.curve import LoadCurve
from breakyard.errors import UsageError
from breakyard.pull.results import Summary
from breakyard.report.figures.card_figure import SIZES, comparison_card, pull_card
from breakyard.report.figures.style import FigurePicture

SIXTEEN_MINUTES = np.radians(16 / 60)
"""Below this height of capitals nobody reads (ISO 9241)."""
PHONE_MM, ARM_MM = 65.0, 350.0


def look_at(picture: FigurePicture, form: str) -> None:
    """Size, letters and edges of a card."""
    from matplotlib.text import Text

    width, height = SIZES[form]
    assert tuple(int(one * picture.dpi) for one in picture.figure.get_size_inches()) == (width, height)
    least_px = SIXTEEN_MINUTES * ARM_MM / PHONE_MM * width
    texts = [one for one in picture.figure.findobj(Text) if one.get_text().strip() and one.get_visible()]
    assert len(texts) > 6
    for one in texts:
        assert one.get_fontsize() / 72 * picture.dpi * 0.729 >= 0.98 * least_px, one.get_text()
        box = one.get_window_extent()
        if one.axes is None:
            assert box.x0 >= 0.02 * width
            assert box.x1 <= 0.98 * width
            assert box.y0 >= 5
            assert box.y1 <= height - 5


def shown(picture: FigurePicture) -> list[str]:
    """The texts that are no axis's, from the top downwards."""
    texts = sorted(picture.figure.texts, key=lambda one: (-one.get_position()[1], one.get_position()[0]))
    return [one.get_text() for one in texts]


@pytest.mark.parametrize("form", ["phone", "wide"])
@pytest.mark.parametrize("mode", ["light", "dark"])
def test_a_pull(curve: LoadCurve, make_summary: Callable[..., Summary], form: Any, mode: Any) -> None:
    """The specimen, its strength with its interval, how it broke, "measured, not a rating"."""
    card = pull_card(
        curve,
        make_summary(),
        unit="N",
        title="B1, bonded with a long name of a group",
        date="2026-05-03",
        mode=mode,
        form=form,
    )
    look_at(card, form)
    texts = shown(card)

    assert texts[0].startswith("B1, bonded")
    assert "4000 N" in texts
    assert "95 % sure: 3978 to 4023" in texts
    assert "ductile break" in texts
    assert texts[-1] == "measured, not a rating"
    assert len(card.png()) < 300_000


def test_a_bound_is_told_as_one(curve: LoadCurve, make_summary: Callable[..., Summary]) -> None:
    """At least, and what to doubt; no interval is made up."""
    bound = make_summary(
        peak={"bound": "lower", "high_n": None},
        strength={"at_least": True, "high_n": None},
        flags=("clipped",),
    )
    texts = shown(pull_card(curve, bound, unit="N", title="T2"))

    assert any(text.startswith("at least") for text in texts)
    assert "in doubt: off scale" in texts
    assert not any("% sure" in text for text in texts)


@pytest.mark.parametrize("form", ["phone", "wide"])
def test_groups_compared(make_summary: Callable[..., Summary], form: Any) -> None:
    """Each group's mean with its interval, and the clearest difference in a line."""
    observations = [
        observe(
            make_summary(strength={"value_n": load, "low_n": load - 20, "high_n": load + 20}),
            group=group,
            specimen=f"{group}{at}",
        )
        for group, loads in (("bonded", (4000, 4080, 3950)), ("screwed", (2500, 2560, 2440)))
        for at, load in enumerate(loads)
    ]
    comparison = compare([one for one in observations if one is not None])
    card = comparison_card(comparison, unit="N", title="slipway (invented)", date="2026-05-03", form=form)
    look_at(card, form)
    texts = shown(card)

    assert texts[0] == "slipway (invented)" or texts[1] == "slipway (invented)"
    assert {"bonded, 3", "screwed, 3"} <= set(texts)
    assert any(text.startswith("bonded: 1.") and text.endswith("times screwed") for text in texts)
    assert "measured, not a rating" in texts[-1]


def test_more_groups_than_there_is_room_for_are_refused(make_summary: Callable[..., Summary]) -> None:
    """With the way out."""
    observations = [observe(make_summary(), group=f"g{at}", specimen=f"{at}") for at in range(7)]
    comparison = compare([one for one in observations if one is not None])

    with pytest.raises(UsageError, match="a card has room for 6 groups, and there are 7"):
        comparison_card(comparison)
