"""Groups against a load or a share that was asked for, in sentences. None of them rates a part."""

from typing import Final

from breakyard.comparison.minimum import AgainstMinimum, AgainstReference
from breakyard.comparison.words import level, share, span
from breakyard.report.words.values import load_text
from breakyard.units import force_unit

DEFERRAL: Final = (
    "Shown of these specimens under these pulls. It rates no part, and says of none that a weight may be trusted "
    "to it."
)


def minimum_sentence(one: AgainstMinimum, unit: str, *, of_own: str = "") -> str:
    """One group against a load. of_own: the column that holds what each specimen had to bear. Raises: UnitError."""
    asked = f"its {of_own}" if of_own else f"{load_text(one.minimum_n, unit)} {force_unit(unit)}"
    bore = f"{one.above} of {one.n} bore {asked} beyond doubt"
    if one.below:
        bore += f", {one.below} broke below"
    unclear = one.n - one.above - one.below
    if unclear:
        bore += f", {unclear} within {'its' if unclear == 1 else 'their'} interval"
    known = ""
    if one.bound_n is not None:
        bound = (
            share(one.bound_n / one.minimum_n) + f" of {asked}"
            if of_own
            else f"{load_text(one.bound_n, unit)} {force_unit(unit)}"
        )
        known = f" (95 % of such parts bear {bound} or more, 95 % sure)"
    if one.outcome == "shown":
        return f"{one.group}: shown; {bore}{known}."
    if one.outcome == "broke_below":
        return f"{one.group}: not shown; {bore}{known}."
    if one.share_shown is not None:
        return (
            f"{one.group}: not shown; {bore}, which shows only that {share(one.share_shown)} of such parts do, "
            "95 % sure: without breaks nobody knows how near they were."
        )
    return f"{one.group}: not shown; {bore}{known or ', too few breaks for any bound'}."


def reference_sentence(one: AgainstReference, coverage: float) -> str:
    """One group's share of the reference group's load."""
    if one.low is None or one.high is None:
        carries = (
            "may carry any share"
            if one.low is None and one.high is None
            else "carries a share with one end open"
        )
        if one.low is not None:
            carries = f"carries at least {share(one.low)}"
        elif one.high is not None:
            carries = f"carries at most {share(one.high)}"
    else:
        carries = f"carries {span(one.low, one.high)} times"
    text = f"{one.group} {carries} what {one.reference} does ({level(coverage)} sure)"
    said = {
        "shown": f"that it keeps {share(one.minimum)} is shown",
        "less": f"it keeps less than {share(one.minimum)}",
        "not_shown": f"that it keeps {share(one.minimum)} is not shown",
    }
    return f"{text}: {said[one.outcome]}."
