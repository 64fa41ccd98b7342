"""The rig, what its check found, where people may be, and the cautions that are always said."""

from collections.abc import Sequence
from typing import Final

from breakyard.plan.quantities import Finding, show_force, show_number, show_percent, show_range, show_span
from breakyard.plan.rig import CAUTIONS, RigCheck
from breakyard.report.figures.plan_figures import rig_figure
from breakyard.report.page.content import Content, SessionRig
from breakyard.report.page.inline import both_widths, figure
from breakyard.report.page.markup import Child, Markup, items, join, paragraphs, table, tag
from breakyard.units import from_newtons

LEVELS: Final = {"no": "Speaks against the pull", "caution": "Caution", "note": "Note"}


FIRST_WORDS: Final = (
    "No number here makes a part safe to lift, to hold people, or to trust one's weight to. Local codes and qualified "
    "people come first."
)
"""Said first and last, whatever the report tells."""


def rig_and_safety(content: Content) -> Markup:
    """Cautions first, whatever is known of the rig."""
    cautions = tag("div", tag("h3", "Always"), items(CAUTIONS), class_="caution")
    told = [_told(content, SessionRig("", content.rig, content.rig_problem, content.rig_words))]
    told += [join(tag("h3", rig.session), _told(content, rig)) for rig in content.other_rigs]
    return join(cautions, *told)


def _told(content: Content, rig: SessionRig) -> Markup:
    if rig.check is not None:
        return _check(content, rig.check)
    said = paragraphs(rig.words) if rig.words.strip() else None
    missing = rig.problem or (
        "The rig is not described in session.toml, so nothing here shows that the specimen was the weakest part, or "
        "that everything else held with a margin. breakyard rig --template prints a description to start from."
    )
    return join(said, tag("p", missing))


def _check(content: Content, check: RigCheck) -> Markup:
    unit, rig = content.unit, check.rig
    start = (
        f"Checked for {rig.specimen}, expected at {show_range(rig.expected_low_n, rig.expected_high_n, unit)}; with "
        f"the dynamic factor of {show_span(*rig.dynamic_factor)} everything in the line must bear "
        f"{show_force(rig.peak_n, unit)}."
    )
    highest = max((entry.summary.peak.estimate_n for entry in content.entries), default=0.0)
    if highest > rig.peak_n:
        start += (
            f" The highest pull of the session, {show_force(highest, unit)}, went beyond that: check the rig again for "
            "it, and look at every part before the next pull."
        )
    against = [one for one in check.findings if one.level == "no"]
    cautions = [one for one in check.findings if one.level == "caution"]
    notes = [one for one in check.findings if one.level == "note"]
    return join(
        tag("p", start),
        _findings(against),
        tag("details", tag("summary", f"{len(cautions)} cautions about this rig"), _findings(cautions))
        if cautions
        else None,
        tag(
            "details",
            tag("summary", "Parts of the line, what holds, who may stand where"),
            _parts(check, unit),
            _anchors(check, unit),
            _findings(notes),
            _sketch(check),
            class_="deep",
        ),
    )


def _parts(check: RigCheck, unit: str) -> Markup | None:
    def number(force_n: float | None) -> str:
        return "?" if force_n is None else show_number(from_newtons(force_n, unit))

    def share(value: float | None) -> str:
        return "?" if value is None else show_percent(value)

    rows: list[list[Child]] = [
        [
            part.element.name,
            part.element.kind,
            number(part.load_n),
            f"{number(part.wll_n)} ({share(part.wll_use)} used)",
            f"{number(part.breaking_low_n)} ({share(part.breaking_use)} used)",
            "?" if part.margin is None else show_number(part.margin),
        ]
        for part in check.elements
    ]
    headings = ["Part", "Kind", f"Load [{unit}]", f"WLL [{unit}]", f"May part at [{unit}]", "Margin"]
    return table("Parts of the line", headings, rows, stacked=True) if rows else None


def _anchors(check: RigCheck, unit: str) -> Markup | None:
    rows: list[list[Child]] = [
        [
            held.anchor.name,
            held.anchor.kind,
            show_force(held.load_n, unit),
            show_range(held.holds_low_n, held.holds_high_n, unit),
            held.verdict,
        ]
        for held in check.anchors
    ]
    headings = ["Anchor", "Kind", "Load", "Friction holds", "Verdict"]
    return table("Held by friction (rule of thumb)", headings, rows, stacked=True) if rows else None


def _findings(findings: Sequence[Finding]) -> Markup | None:
    return items([join(tag("b", f"{LEVELS[one.level]}: "), one.text) for one in findings])


def _sketch(check: RigCheck) -> Markup | None:
    if check.distances is None:
        return None
    pictures = both_widths(lambda mode, form: rig_figure(check, mode=mode, form=form), "rig")
    return figure(pictures, "The rig from above. Local codes and qualified people come first.")
