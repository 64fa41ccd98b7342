"""Verdicts in plain words. Shares and ratios only, so that the words hold in any unit."""

import math
from typing import TYPE_CHECKING, Final

from breakyard.comparison.groups import Group

if TYPE_CHECKING:
    from breakyard.comparison.verdict import Pair


REASONABLE: Final = 100
"""Specimens of a group; nobody breaks more to see a difference."""


def sentence(pair: "Pair", first: Group, second: Group, *, coverage: float, matters: float) -> str:
    """Say what the data show about two groups: the size first, then what it rests on."""
    parts = [_main(pair, first, second, coverage, matters)]
    if pair.verdict in ("first_more", "second_more"):
        parts += _rests_on(pair, first, second, coverage)
    elif pair.separated is not None and min(first.n, second.n) > 1:
        strong, weak = (first, second) if pair.separated == "first" else (second, first)
        if weak.at_least < weak.n:
            held = "is known to have held" if weak.at_least else "did"
            parts.append(f"Still, every specimen of {strong.name} held more than any of {weak.name} {held}.")
    parts += [_slip(group) for group in (first, second) if group.slip is not None]
    return " ".join(parts)


def _rests_on(pair: "Pair", first: Group, second: Group, coverage: float) -> list[str]:
    parts = []
    if pair.method in ("common_scatter", "survivors") and first.at_least + second.at_least:
        parts.append('This takes all groups to scatter alike, as some pulls are only "at least".')
    smallest = None if pair.ranks is None else pair.ranks.smallest_p
    if smallest is not None and smallest > 1.0 - coverage:
        parts.append(
            "It rests on how breaking loads usually scatter (Weibull, log-normal): by order alone so few specimens "
            f"can't get below {probability(smallest)}."
        )
    return parts


def _slip(group: Group) -> str:
    slip = group.slip
    assert slip is not None
    if len(slip.specimens) == 2:
        return (
            f"Look at {slip.specimens[0]} and {slip.specimens[1]} first: they differ {slip.times:.3g} times. Is a "
            "decimal point, a unit or a calibration wrong?"
        )
    return (
        f"Look at {slip.specimens[0]} first: it is {slip.times:.3g} times the others of {group.name}. Is a decimal "
        "point, a unit or a calibration wrong?"
    )


def probability(p: float) -> str:
    """p = 0.03, p < 0.0001."""
    return "p < 0.0001" if p < 0.0001 else f"p = {p:.2g}" if p < 0.1 else f"p = {p:.2f}"


def level(coverage: float) -> str:
    """95 %, 99.5 %."""
    return f"{100.0 * coverage:.6g} %"


def share(value: float) -> str:
    """A positive share: 0.34 %, 5.2 %, 31 %."""
    percent = 100.0 * value
    return (
        f"{percent:.2f} %" if percent < 1.0 else f"{percent:.1f} %" if percent < 10.0 else f"{percent:.0f} %"
    )


def _main(pair: "Pair", first: Group, second: Group, coverage: float, matters: float) -> str:
    if pair.verdict in ("first_more", "second_more"):
        return _more(pair, first, second, coverage, matters)
    if pair.verdict == "no_difference_shown":
        return (
            f"No difference shown between {first.name} and {second.name}: {first.name} carries "
            f"{span(pair.ratio_low, pair.ratio_high)} times what {second.name} carries, so a difference of "
            f"{share(matters)} or more is ruled out ({_evidence(pair, first, second, coverage)})."
        )
    start = f"Can't tell {first.name} from {second.name}: too few"
    if pair.single is not None:
        return _single(pair, first, second, start, coverage)
    if pair.method == "none":
        return f"{start}; {_why_nothing(first, second)}."
    text = f"{start}; {_unsure(pair, first, second)} ({_evidence(pair, first, second, coverage)})."
    if first.slip is not None or second.slip is not None:
        return text
    needed = pair.needed_per_group
    if needed is not None and min(first.n, second.n) < needed <= REASONABLE:
        text += (
            f" About {needed} specimens per group would show a difference of {share(matters)} in 4 of 5 "
            f"tries, at the scatter found ({share(pair.scatter or 0.0)}, SD over mean)."
        )
    elif pair.scatter is not None and (needed is None or needed > REASONABLE):
        text += (
            f" At the scatter found ({share(pair.scatter)}, SD over mean) no reasonable number would show a difference "
            f"of {share(matters)}."
        )
    return text


def _unsure(pair: "Pair", first: Group, second: Group) -> str:
    low, high = pair.ratio_low, pair.ratio_high
    if low is None and high is None:
        return f"{first.name} may carry any number of times what {second.name} carries"
    if high is None:
        return f"{first.name} may carry from {two_digits(low or 0.0, -1)} times what {second.name} carries, or any more"
    if low is None:
        return f"{first.name} may carry up to {two_digits(high, 1)} times what {second.name} carries, or any less"
    return f"{first.name} may carry {span(low, high)} times what {second.name} carries"


def _more(pair: "Pair", first: Group, second: Group, coverage: float, matters: float) -> str:
    """Size first, rounded outwards; then the best guess and how sure; then whether it is worth knowing about."""
    turned = pair.verdict == "second_more"
    strong, weak = (second, first) if turned else (first, second)
    ratio = _inverse(pair.ratio) if turned else pair.ratio
    low = _inverse(pair.ratio_high) if turned else pair.ratio_low
    high = _inverse(pair.ratio_low) if turned else pair.ratio_high
    assert low is not None
    evidence = _evidence(pair, first, second, coverage)
    if high is None:
        size = f"at least {two_digits(low, -1)} times what {weak.name} carries"
        best = f"nothing of {strong.name} broke; " if strong.at_least == strong.n else ""
        if best == "" and ratio is not None:
            best = f"{two_digits(ratio)} times is likeliest; "
    elif high < 2.0:
        size = f"about {percent(low - 1.0, -1)} to {percent(high - 1.0, 1)} % more than {weak.name}"
        best = "" if ratio is None else f"{share(ratio - 1.0)} is likeliest; "
    else:
        size = f"about {two_digits(low, -1)} to {two_digits(high, 1)} times what {weak.name} carries"
        best = "" if ratio is None else f"{two_digits(ratio)} times is likeliest; "
    text = f"{strong.name} carries {size} ({best}{evidence})."
    if high is not None and high < 1.0 + matters:
        text += f" That is less than the {share(matters)} that matters here."
    elif ratio is not None and ratio < 1.0 + matters:
        text += f" Whether it is the {share(matters)} that matters here is not shown."
    return text


def _inverse(value: float | None) -> float | None:
    return None if value is None else 1.0 / value


def two_digits(value: float, way: int = 0) -> str:
    """Two digits, three from 0.9 to 2 where the second says little; way -1 rounds down, +1 up."""
    digits = 3 if 0.9 <= value < 2.0 else 2
    return _rounded(value, digits, way)


def percent(value: float, way: int) -> str:
    """A share as a percentage without its sign, two digits."""
    return _rounded(100.0 * value, 2, way)


def _rounded(value: float, digits: int, way: int) -> str:
    if value <= 0.0:
        return "0"
    places = digits - 1 - math.floor(math.log10(value))
    step = 10.0**-places
    # A hair, so that a value that is round already stays.
    counts = value / step
    whole = (round(counts), math.ceil(counts - 1e-9), math.floor(counts + 1e-9))[way]
    return f"{whole * step:.{max(places, 0)}f}"


def span(low: float | None, high: float | None) -> str:
    """Both ends of a ratio, rounded outwards."""
    assert low is not None
    assert high is not None
    return f"{two_digits(low, -1)} to {two_digits(high, 1)}"


def _evidence(pair: "Pair", first: Group, second: Group, coverage: float) -> str:
    counts = f"{_count(first)} and {_count(second)} specimens"
    sure = f"{level(coverage)} sure"
    return f"{sure}, {counts}" if pair.p is None else f"{sure}, {probability(pair.p)}; {counts}"


def _count(group: Group) -> str:
    return f"{group.n}" + (f' ({group.at_least} only "at least")' if group.at_least else "")


def _why_nothing(first: Group, second: Group) -> str:
    if first.at_least + second.at_least == first.n + second.n:
        return "nothing broke in either group, so all that is known are loads that were held"
    if any(group.at_least for group in (first, second)):
        return "too few broke to show any scatter"
    return "neither group shows any scatter, which real parts do, as if the loads were rounded"


def _single(pair: "Pair", first: Group, second: Group, start: str, coverage: float) -> str:
    alone = pair.single
    assert alone is not None
    which = " and ".join(group.name for group in (first, second) if group.n == 1)
    at = {round(item.cv, 4): item.difference for item in alone.at_scatter}
    text = f"{start}; there is one specimen of {which}"
    text += f", and the ratio of the two is {alone.ratio:.3f}" if not first.at_least + second.at_least else ""
    if alone.group_difference is not None:
        known = first if second.n == 1 else second
        return (
            f"{text}. If it scatters as {known.name} does, only a difference of {share(alone.group_difference)} or "
            f"more could be told from chance ({level(coverage)})."
        )
    if not alone.order_seen:
        return f"{text}, and they show no order: the weaker only held at least its load, or both are alike."
    holds = alone.holds_below_cv
    if holds is None:
        return f"{text}. The difference is smaller than the instrument's own uncertainty."
    return (
        f"{text}. The order would hold if such parts scatter (SD over mean) by less than {share(holds)}; at 5 % "
        f"scatter only a difference of {share(at[0.05])} or more could be told from chance, at 10 % {share(at[0.1])}."
    )
