"""Verdicts in plain words. Shares and ratios only, so that the words hold in any unit."""

from typing import TYPE_CHECKING

from breakyard.comparison.groups import Group

if TYPE_CHECKING:
    from breakyard.comparison.verdict import Pair


def sentence(pair: "Pair", first: Group, second: Group, *, coverage: float, matters: float) -> str:
    """Say what the data show about two groups, with the numbers that it rests on."""
    parts = [_main(pair, first, second, coverage, matters)]
    if pair.verdict in ("first_more", "second_more"):
        if pair.method == "weibull":
            parts.append(
                'This takes both groups to scatter alike (Weibull), as some pulls are only "at least".'
            )
        smallest = None if pair.ranks is None else pair.ranks.smallest_p
        if smallest is not None and smallest > 1.0 - coverage:
            parts.append(
                "It rests on a normal scatter: by order alone so few specimens can't get below "
                f"{probability(smallest)}."
            )
    elif pair.separated is not None and min(first.n, second.n) > 1:
        strong, weak = (first, second) if pair.separated == "first" else (second, first)
        if weak.at_least == weak.n:
            return " ".join(parts)
        held = "is known to have held" if weak.at_least else "did"
        parts.append(f"Still, every specimen of {strong.name} held more than any of {weak.name} {held}.")
    return " ".join(parts)


def probability(p: float) -> str:
    """p = 0.03, p < 0.0001."""
    return "p < 0.0001" if p < 0.0001 else f"p = {p:.4f}" if p < 0.01 else f"p = {p:.2f}"


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
        return _more(pair, first, second, coverage)
    if pair.verdict == "no_difference_shown":
        return (
            f"No difference shown between {first.name} and {second.name}: ratio {pair.ratio:.3f}, "
            f"{level(coverage)} interval {_span(pair.ratio_low, pair.ratio_high)}, so a difference of "
            f"{share(matters)} or more is ruled out ({_evidence(pair, first, second)})."
        )
    start = f"Can't tell {first.name} from {second.name}: too few"
    if pair.single is not None:
        return _single(pair, first, second, start, coverage)
    if pair.method == "none":
        return f"{start}; {_why_nothing(first, second)}."
    numbers = "" if pair.ratio is None else f"; ratio {pair.ratio:.3f}"
    if pair.ratio is not None and (pair.ratio_low is not None or pair.ratio_high is not None):
        numbers += f", {level(coverage)} interval {_span(pair.ratio_low, pair.ratio_high)}"
    text = f"{start}{numbers} ({_evidence(pair, first, second)})."
    logs = pair.log_rank
    if logs is not None and logs.exact is not None and logs.exact.smallest_p > 1.0 - coverage:
        text += f" By order alone so few specimens can't get below {probability(logs.exact.smallest_p)}."
    if pair.needed_per_group is not None and pair.needed_per_group > min(first.n, second.n):
        text += (
            f" About {pair.needed_per_group} specimens per group would show a difference of {share(matters)} at the "
            "scatter seen."
        )
    elif pair.needed_per_group is None and pair.means is not None:
        text += f" The scatter is too large to show a difference of {share(matters)} at all."
    return text


def _more(pair: "Pair", first: Group, second: Group, coverage: float) -> str:
    strong, weak = (first, second) if pair.verdict == "first_more" else (second, first)
    if pair.ratio is None:
        return f"{strong.name} carries more than {weak.name} ({_evidence(pair, first, second)})."
    turned = pair.verdict == "second_more"
    ratio = 1.0 / pair.ratio if turned else pair.ratio
    low = _inverse(pair.ratio_high) if turned else pair.ratio_low
    high = _inverse(pair.ratio_low) if turned else pair.ratio_high
    much = f"{share(ratio - 1.0)} more" if ratio < 2.0 else f"{ratio:.2f} times as much"
    interval = (
        ""
        if low is None and high is None
        else f"; ratio {_span(low, high)} with {level(coverage)} confidence"
    )
    return (
        f"{strong.name} carries more than {weak.name}: {much}{interval} ({_evidence(pair, first, second)})."
    )


def _inverse(value: float | None) -> float | None:
    return None if value is None else 1.0 / value


def _span(low: float | None, high: float | None) -> str:
    if low is None:
        return f"up to {high:.3g}" if high is not None else "unknown"
    if high is None:
        return f"from {low:.3g} up"
    digits = 3 if low > 0.1 and high < 10.0 else 2
    return f"{low:.{digits}f} to {high:.{digits}f}" if high < 1000.0 else f"{low:.2g} to {high:.2g}"


def _evidence(pair: "Pair", first: Group, second: Group) -> str:
    test = {"games_howell": "Welch, Games-Howell", "log_rank": "log-rank", "weibull": "Weibull"}.get(
        pair.method, ""
    )
    counts = f"{_count(first)} and {_count(second)} specimens"
    return counts if pair.p is None else f"{test} {probability(pair.p)}, {counts}"


def _count(group: Group) -> str:
    return f"{group.n}" + (f' ({group.at_least} only "at least")' if group.at_least else "")


def _why_nothing(first: Group, second: Group) -> str:
    if first.at_least + second.at_least == first.n + second.n:
        return "nothing broke in either group, so all that is known are loads that were held"
    if any(group.at_least for group in (first, second)):
        return "too few broke"
    return "neither group shows any scatter, which real parts do; were the loads rounded?"


def _single(pair: "Pair", first: Group, second: Group, start: str, coverage: float) -> str:
    alone = pair.single
    assert alone is not None
    which = " and ".join(group.name for group in (first, second) if group.n == 1)
    at = {round(item.cv, 4): item.difference for item in alone.at_scatter}
    text = f"{start}; there is one specimen of {which}"
    text += f", and the ratio seen is {alone.ratio:.3f}" if not first.at_least + second.at_least else ""
    if alone.group_difference is not None:
        known = first if second.n == 1 else second
        return (
            f"{text}. If it scatters as {known.name} does, only a difference of {share(alone.group_difference)} or "
            f"more could be told from chance ({level(coverage)})."
        )
    if not alone.order_seen:
        return f"{text}, and no order is seen: the weaker is only known to hold at least its load, or both are alike."
    holds = alone.holds_below_cv
    if holds is None:
        return f"{text}. The difference is smaller than the instrument's own uncertainty."
    return (
        f"{text}. The order would hold if such parts scatter (SD over mean) by less than {share(holds)}; at 5 % "
        f"scatter only a difference of {share(at[0.05])} or more could be told from chance, at 10 % {share(at[0.1])}."
    )
