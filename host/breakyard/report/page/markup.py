"""HTML and SVG made so that text can never become markup: a `str` is escaped, only `Markup` goes in as it is.

Names and notes come from files, spreadsheets and foreign loggers, so escaping must not be left to whoever writes a
section. A template language would add a dependency and a second syntax for what these few functions do.
"""

import unicodedata
from collections.abc import Iterable, Mapping
from html import escape
from typing import Final

VOID: Final = frozenset({"meta", "link", "br", "input", "hr", "img"})
"""Elements of HTML without an end."""

_REORDERING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c")
"""Signs that let a text be shown in another order than it is written in."""


class Markup(str):
    """Text that is markup already."""

    __slots__ = ()


Child = str | int | None | Iterable["Child"]
"""What may stand inside an element: text (escaped), Markup (as it is), nothing, or several of them."""


def clean(value: str) -> str:
    """Replace what no page can hold, or what would mislead its reader: control, surrogate and reordering signs."""
    if value.isascii() and value.isprintable():
        return value
    return "".join("\N{REPLACEMENT CHARACTER}" if _is_bad(sign) else sign for sign in value)


def _is_bad(sign: str) -> bool:
    if sign in "\n\t":
        return False
    return (
        unicodedata.category(sign) in ("Cc", "Cs")
        or sign in _REORDERING
        or (ord(sign) & 0xFFFE) == 0xFFFE  # no characters, in any plane
        or 0xFDD0 <= ord(sign) <= 0xFDEF
    )


def text(value: str) -> Markup:
    """Escape text."""
    return value if isinstance(value, Markup) else Markup(escape(clean(value), quote=True))


def join(*children: Child) -> Markup:
    """Put children one after another."""
    parts: list[str] = []
    for child in children:
        if child is None:
            continue
        if isinstance(child, str):
            parts.append(text(child))
        elif isinstance(child, int):
            parts.append(str(child))
        else:
            parts.append(join(*child))
    return Markup("".join(parts))


def tag(name: str, /, *children: Child, **attributes: object) -> Markup:
    """One element. Attributes: `class_` is "class", `aria_label` "aria-label"; None and False are left out."""
    return element(
        name, {key.rstrip("_").replace("_", "-"): value for key, value in attributes.items()}, *children
    )


def element(name: str, attributes: Mapping[str, object], /, *children: Child) -> Markup:
    """One element, with the attributes' names as they are."""
    start = [name]
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        start.append(
            key if value is True else f'{key}="{text(value if isinstance(value, str) else str(value))}"'
        )
    opened = f"<{' '.join(start)}>"
    return Markup(opened if name in VOID else f"{opened}{join(*children)}</{name}>")


def table(
    caption: Child,
    headings: Iterable[Child],
    rows: Iterable[Iterable[Child]],
    *,
    row_classes: Iterable[str] = (),
    stacked: bool = False,
) -> Markup:
    """A table; the first cell of each row is its heading.

    stacked: on a narrow screen each row becomes a block of "heading: value" lines. Roles are stated, because some
    browsers forget that a table is one when its cells are laid out in another way.
    """
    heads = list(headings)
    labels = [Markup(join(head)) for head in heads]
    classes = iter(row_classes)
    body = []
    for row in rows:
        first, *rest = row
        cells = [tag("th", first, scope="row", role="rowheader")]
        cells += [
            element("td", {"role": "cell", "data-label": plain(label)}, cell)
            for label, cell in zip(labels[1:], rest, strict=True)
        ]
        body.append(tag("tr", *cells, role="row", class_=next(classes, "") or None))
    made = tag(
        "table",
        tag("caption", caption),
        tag(
            "thead",
            tag("tr", *(tag("th", head, scope="col", role="columnheader") for head in heads), role="row"),
            role="rowgroup",
        ),
        tag("tbody", *body, role="rowgroup"),
        role="table",
        class_="stacked" if stacked else None,
    )
    if stacked:
        return made
    return tag("div", made, class_="wide", tabindex="0", role="region", aria_label=plain(join(caption)))


def plain(markup: str) -> Markup:
    """Markup without its elements, fit for an attribute."""
    kept, inside = [], False
    for sign in markup:
        if sign == "<":
            inside = True
        elif sign == ">" and inside:
            inside = False
        elif not inside:
            kept.append(sign)
    return Markup("".join(kept))


def paragraphs(value: str) -> Markup:
    """Text as people typed it, a paragraph for each line."""
    return join(*(tag("p", line.strip()) for line in value.splitlines() if line.strip()))


def items(lines: Iterable[Child], class_: str | None = None) -> Markup | None:
    """A list; None where there is nothing to list."""
    made = [tag("li", line) for line in lines if line]
    return tag("ul", *made, class_=class_) if made else None
