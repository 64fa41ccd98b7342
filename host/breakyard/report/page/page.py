"""One self-contained page: no network, light and dark, for screen, phone and paper, readable without scripts."""

import base64
import hashlib
from collections.abc import Callable
from importlib.resources import files
from typing import Literal

from breakyard.errors import UsageError
from breakyard.report.page.content import Content
from breakyard.report.page.curves_chart import make_curves
from breakyard.report.page.markup import Markup, tag
from breakyard.report.page.sections.answer import answer
from breakyard.report.page.sections.compared import compared
from breakyard.report.page.sections.method import calibrations, how_made, recompute
from breakyard.report.page.sections.overview import overview
from breakyard.report.page.sections.pulls import (
    curves_section,
    doubts_section,
    each_pull,
    how_they_broke,
    pulls_table,
    strengths,
    switch_rules,
)
from breakyard.report.page.sections.safety import FIRST_WORDS, rig_and_safety

Fold = Literal["open", "folded", "deep"]


def make_page(content: Content) -> str:
    """Write the report as HTML. The same content gives the same text.

    Raises: UsageError (no pulls), UnitError.
    """
    if not content.entries:
        raise UsageError("there is no pull to report")
    curves = make_curves(content.entries, content.unit)
    # What answers the question stands open; what it rests on folds away, and is there for whoever asks.
    sections: list[tuple[str, str, Callable[[], Markup], Fold]] = [
        ("tested", "What was tested", lambda: overview(content), "open"),
        ("pulls", "The pulls", lambda: pulls_table(content, curves), "open"),
        ("curves", "Curves", lambda: curves_section(curves), "open"),
        ("doubts", "Doubtful pulls, and why", lambda: doubts_section(content, curves), "open"),
        ("comparison", "Comparison", lambda: compared(content), "open"),
        ("strengths", "What they bear, one by one", lambda: strengths(content), "deep"),
        ("manners", "How they broke", lambda: how_they_broke(content), "folded"),
        ("safety", "Rig and safety", lambda: rig_and_safety(content), "open"),
        ("each", "Each pull", lambda: each_pull(content, curves), "open"),
        ("calibration", "Calibration and its limits", lambda: calibrations(content), "deep"),
        ("method", "How the numbers were made", lambda: how_made(content), "deep"),
        ("recompute", "To compute it again", lambda: recompute(content), "deep"),
    ]
    links = [tag("li", tag("a", title, href=f"#{name}")) for name, title, *_ in sections]
    body = [_section(*section) for section in sections]
    first = tag("section", answer(content), id="answer", aria_label="What came out")
    style, script = page_style(), Markup(_template("page.js"))
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", http_equiv="Content-Security-Policy", content=_policy(script)),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"),
        tag("meta", name="generator", content="Breakyard"),
        # Without it, a browser asks its server for an icon.
        tag("link", rel="icon", href="data:,"),
        tag("title", content.title),
        tag("style", style, switch_rules(curves)),
    )
    page = tag(
        "body",
        tag("a", "To the report", href="#main", class_="skip"),
        tag("header", tag("h1", content.title, dir="auto")),
        tag(
            "main",
            first,
            tag("p", FIRST_WORDS, class_="small"),
            tag("nav", tag("ul", *links), aria_label="Sections"),
            *body,
            id="main",
            tabindex="-1",
        ),
        tag("footer", tag("p", FIRST_WORDS, class_="small")),
        tag("script", script),
    )
    return f"<!DOCTYPE html>\n{tag('html', head, page, lang='en')}\n"


def _section(name: str, title: str, make: Callable[[], Markup], fold: Fold) -> Markup:
    """A section under its title; folded ones are opened for paper, deep ones only if their reader opened them."""
    heading = tag("h2", title, id=f"{name}-title")
    inside = make()
    if fold == "open":
        return tag("section", heading, inside, id=name, aria_labelledby=f"{name}-title")
    folded = tag("details", tag("summary", heading), inside, class_="deep part" if fold == "deep" else "part")
    return tag("section", folded, id=name, aria_labelledby=f"{name}-title")


def _policy(script: str) -> str:
    """Nothing may be fetched, and no script but the page's own may run."""
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    rules = (
        "default-src 'none'",
        "style-src 'unsafe-inline'",
        f"script-src 'sha256-{digest}'",
        "img-src data:",
    )
    return "; ".join((*rules, "base-uri 'none'", "form-action 'none'"))


def page_style() -> Markup:
    """The style that all pages share."""
    return Markup(_template("page.css"))


def _template(name: str) -> str:
    return (files("breakyard.report.page") / "templates" / name).read_text(encoding="utf-8")
