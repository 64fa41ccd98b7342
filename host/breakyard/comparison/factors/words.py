"""What a comparison by factors says, in sentences."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from breakyard.comparison.words import level, percent, probability, share, span, two_digits

if TYPE_CHECKING:
    from breakyard.comparison.factors.law import Campaign
    from breakyard.comparison.factors.results import ConditionEffect, FactorRatio, Shift
    from breakyard.comparison.factors.terms import PulledSpecimen


def _chance(p: float) -> str:
    """A simulated probability says nothing finer than a thousandth."""
    return "p < 0.001" if p < 0.001 else probability(p)


def ratio_sentence(one: "FactorRatio", coverage: float, matters: float) -> str:
    """Two levels of a factor: the size first, then how sure."""
    where = f" ({', '.join(one.within.values())})" if one.within else ""
    first, second = one.first + where, one.second + where
    low, high = one.ratio_low, one.ratio_high
    sure = f"{level(coverage)} sure, {_chance(one.p)}"
    if one.verdict == "no_difference_shown":
        return (
            f"No difference shown between {first} and {second}: {one.first} carries {span(low, high)} times what "
            f"{one.second} carries, so a difference of {share(matters)} or more is ruled out ({sure})."
        )
    if one.verdict == "too_few":
        return (
            f"Can't tell {first} from {second}: too few; {one.first} may carry {span(low, high)} times what "
            f"{one.second} carries ({sure})."
        )
    strong, weak, ratio = first, second, one.ratio
    if one.verdict == "second_more":
        strong, weak, ratio, low, high = second, first, 1.0 / ratio, 1.0 / high, 1.0 / low
    if high < 2.0:
        size = f"about {percent(low - 1.0, -1)} to {percent(high - 1.0, 1)} % more than {weak}"
        best = f"{share(ratio - 1.0)} is likeliest"
    else:
        size = f"about {two_digits(low, -1)} to {two_digits(high, 1)} times what {weak} carries"
        best = f"{two_digits(ratio)} times is likeliest"
    text = f"{strong} carries {size} ({best}; {sure})."
    if high < 1.0 + matters:
        return f"{text} That is less than the {share(matters)} that matters here."
    if low < 1.0 + matters and ratio < 1.0 + matters:
        return f"{text} Whether it is the {share(matters)} that matters here is not shown."
    return text


def together_sentence(one: str, other: str, p: float | None, shown: bool) -> str:
    """Whether two factors act each by themselves."""
    if p is None:
        return (
            f"Whether the effect of {one} depends on {other} cannot be looked at: too few combinations or specimens; "
            "it is taken not to."
        )
    if shown:
        return (
            f"{one} and {other} act together ({_chance(p)}): what one does depends on the other, so each is "
            "compared at every level of the other."
        )
    return f"{one} and {other} act independently, as far as these specimens show ({_chance(p)})."


def shift_sentence(one: "Shift") -> str:
    """One day against the first; what it holds besides."""
    return (
        f"{one.level}: everything carried {span(one.ratio_low, one.ratio_high)} times what it did in {one.first} "
        f"({two_digits(one.ratio)} is likeliest); this is taken out of the ratios, with that day's calibration error."
    )


def slope_sentence(one: "ConditionEffect", coverage: float, unit: str = "") -> str:
    """What a condition does from the lowest to the highest value. unit: where its name does not say it."""
    low, high = (f"{float(f'{value:.4g}'):.12g} {unit}".strip() for value in (one.from_value, one.to_value))
    found = (
        f"at {high} the load is {span(one.ratio_low, one.ratio_high)} times that at {low} ({level(coverage)} sure, "
        f"{_chance(one.p)})."
    )
    if one.ratio_low <= 1.0 <= one.ratio_high:
        return f"No effect of {one.condition} shown: {found}"
    return f"{one.condition}: {found}"


def notes(campaign: "Campaign", rows: "Sequence[PulledSpecimen]", block: str | None) -> tuple[str, ...]:
    """What the ratios take for granted."""
    held = len(rows) - campaign.breaks
    alike = (
        "Each ratio compares two levels of one factor with everything else alike; one scatter is taken for all "
        f"specimens, with {campaign.freedom} degrees of freedom."
    )
    made = [alike]
    if held:
        made.append(
            f'{held} of {len(rows)} specimens are only "at least": each counts as having held at least its load.'
        )
    calibrations = {term.calibration for row in rows for term in row.pull.shared}
    if block is None and len(calibrations) > 1:
        made.append(
            f"The pulls were read with {len(calibrations)} calibrations, whose errors are in the intervals; a block "
            "for the days (--block session) would take them out."
        )
    return tuple(made)
