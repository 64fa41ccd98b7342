"""One sheet per specimen: what it was, what it bore, under which conditions, and what stands behind the numbers.

Made to be printed on A4 or letter: a page for each specimen, the curve and the photo small enough to leave room.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from breakyard.pull.proof import Proof
from breakyard.report.figures.extension_figure import extension_figure
from breakyard.report.figures.pull_figure import pull_figure
from breakyard.report.figures.style import Form
from breakyard.report.page.content import Entry, FileHash, Photo
from breakyard.report.page.inline import inline_picture
from breakyard.report.page.markup import Child, Markup, items, join, table, tag
from breakyard.report.page.page import page_style
from breakyard.report.page.sections.pulls import photos
from breakyard.report.words.account import account
from breakyard.report.words.cycle_words import cycle_headings, cycle_rows
from breakyard.report.words.proof_words import after_sentence, proof_sentence
from breakyard.report.words.wording import doubts

Paper = Literal["a4", "letter"]

LAST_WORDS: Final = (
    "Measured by its owner, on this specimen, on this day. It is no rating of any part, and nobody may trust their "
    "weight to it."
)

SIZES: Final[dict[Paper, str]] = {"a4": "A4", "letter": "letter"}

MOST_CYCLES: Final = 8
"""Loadings in the table; of more the first and the last."""

_STYLE: Final = """
.sheet { break-after: page; padding-top: .5rem; }
.sheet:last-of-type { break-after: auto; }
.sheet h1 { font-size: 1.5rem; margin: .2rem 0; }
.sheet h2 { font-size: 1.05rem; margin: .8rem 0 .2rem; padding-top: .3rem; border-top-width: 1px; }
.sheet .two { display: grid; grid-template-columns: 1fr 1fr; gap: 0 1.4rem; }
.sheet .pictures { display: flex; gap: .5rem; align-items: center; }
.sheet .pictures > figure { flex: 1 1 0; min-width: 0; }
.sheet .pictures > .photos { flex: 0 1 22%; }
.sheet .photos { display: flex; flex-wrap: wrap; gap: .5rem; }
.sheet .photos img { max-height: 3.4cm; max-width: 100%; object-fit: contain; }
.sheet .chart { max-height: 5.4cm; width: 100%; }
.sheet figure { margin: .1rem 0; }
.sheet p, .sheet li { margin: .1rem 0; line-height: 1.3; }
.sheet .facts { gap: .05rem .8rem; margin: .2rem 0; font-size: .85rem; }
.sheet table { font-size: .8rem; margin: .2rem 0; }
.sheet td, .sheet th { padding: .1rem .5rem .1rem 0; }
.sheet .strength { font-size: 1.25rem; font-weight: 700; margin: .2rem 0; }
@media screen and (max-width: 40rem) {
  .sheet .two { grid-template-columns: 1fr; }
  .sheet .pictures { display: block; }
}
@media print {
  .sheet { font-size: 9pt; padding-top: 0; }
  .sheet .facts, .sheet table, .sheet .small { font-size: 8pt; line-height: 1.2; }
  .sheet td, .sheet th { padding: 0 .5rem 0 0; }
  .sheet h2 { margin-top: .5rem; }
  .sheet .chart { max-height: 5cm; }
}
@media print { @page { size: PAPER; margin: 12mm; } }
"""


@dataclass(frozen=True, slots=True)
class Sheet:
    """What one sheet tells. Texts are as people wrote them, not escaped."""

    specimen: str
    entries: tuple[Entry, ...]
    unit: str
    group: str = ""
    session: str = ""
    place: str = ""
    date: str = ""
    own: tuple[tuple[str, str], ...] = ()
    """People's own columns and the conditions, as they were written."""
    photos: tuple[Photo, ...] = ()
    proofs: tuple[Proof, ...] = ()
    calibrations: tuple[tuple[str, str], ...] = ()
    """Name with age, and hash of the content."""
    files: tuple[FileHash, ...] = ()
    asked: tuple[tuple[str, str], ...] = ()
    """What ISO 6892-1 and ISO 527-1 ask to be recorded, with what was stated; empty where nothing was."""
    problems: tuple[str, ...] = ()


def make_sheets(sheets: Sequence[Sheet], *, paper: Paper = "a4", title: str = "") -> str:
    """Write sheets as one page of HTML, each on a sheet of paper of its own. Raises: UnitError."""
    named = title or (f"Specimen {sheets[0].specimen}" if len(sheets) == 1 else "Specimens")
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag(
            "meta",
            http_equiv="Content-Security-Policy",
            content="default-src 'none'; style-src 'unsafe-inline'; img-src data:",
        ),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"),
        tag("meta", name="generator", content="Breakyard"),
        tag("link", rel="icon", href="data:,"),
        tag("title", named),
        tag("style", page_style(), Markup(_STYLE.replace("PAPER", SIZES[paper]))),
    )
    body = tag("body", tag("main", *(_sheet(one, at) for at, one in enumerate(sheets)), id="main"))
    return f"<!DOCTYPE html>\n{tag('html', head, body, lang='en')}\n"


def _sheet(sheet: Sheet, at: int) -> Markup:
    where = ", ".join(part for part in (sheet.group, sheet.place, sheet.date, sheet.session) if part)
    return tag(
        "section",
        tag("h1", sheet.specimen, dir="auto"),
        tag("p", where, class_="small") if where else None,
        tag("p", LAST_WORDS, class_="small"),
        None if sheet.entries else _photos(sheet),
        items([join(tag("b", "Not read: "), why) for why in sheet.problems]),
        *(_pull(entry, sheet, f"s{at}-{number}") for number, entry in enumerate(sheet.entries)),
        _holds(sheet),
        tag(
            "div",
            tag("div", tag("h2", "Its own columns and conditions"), _facts(sheet.own)) if sheet.own else None,
            tag("div", tag("h2", "What a test report asks for"), _facts(_stated(sheet.asked)), _about_asked())
            if sheet.asked
            else None,
            class_="two",
        ),
        tag("h2", "Behind the numbers"),
        _facts([*sheet.calibrations, *((one.path, one.sha256) for one in sheet.files)]),
        class_="sheet",
        id=f"sheet-{at}",
    )


def _pull(entry: Entry, sheet: Sheet, name: str) -> Markup:
    lines = [
        (what, text)
        for what, text in account(entry.summary, sheet.unit)
        if what not in ("Strength", "Recording")
    ]
    strength = dict(account(entry.summary, sheet.unit))["Strength"]
    # Half as wide beside lengths, it is drawn as for a phone, so that its letters stay legible.
    form: Form = "wide" if entry.summary.extension is None else "phone"
    picture = pull_figure(entry.curve, entry.summary, unit=sheet.unit, title=entry.name, form=form)
    percent = f"{100 * entry.summary.peak.coverage:g} %"
    return join(
        tag("p", f"{entry.name}: bore {strength} ({percent})", class_="strength"),
        # Beside one another, so that a sheet with all of them still is one page.
        tag(
            "div",
            tag("figure", inline_picture(picture, name, "roomy")),
            _over_extension(entry, sheet.unit, f"{name}-x"),
            _photos(sheet) if entry is sheet.entries[0] else None,
            class_="pictures",
        ),
        _facts(lines),
        _cycles(entry, sheet.unit),
        items(doubts(entry.summary, sheet.unit), "small"),
        tag("p", entry.notes, class_="small") if entry.notes.strip() else None,
    )


def _photos(sheet: Sheet) -> Markup | None:
    return tag("div", *photos(sheet.photos, sheet.specimen), class_="photos") if sheet.photos else None


def _over_extension(entry: Entry, unit: str, name: str) -> Markup | None:
    """Load over extension, where lengths are known."""
    if entry.summary.extension is None:
        return None
    picture = extension_figure(entry.curve, entry.summary, unit=unit, title=entry.name, form="phone")
    return tag("figure", inline_picture(picture, name, "roomy"))


def _cycles(entry: Entry, unit: str) -> Markup | None:
    rows: list[list[Child]] = [list(row) for row in cycle_rows(entry.summary, unit)]
    if not rows:
        return None
    if len(rows) > MOST_CYCLES:
        half = MOST_CYCLES // 2
        between: list[Child] = ["...", *[""] * (len(rows[0]) - 1)]
        rows = [*rows[:half], between, *rows[-half:]]
    return table("Every loading", list(cycle_headings(entry.summary, unit)), rows)


def _holds(sheet: Sheet) -> Markup | None:
    lines = []
    for proof in sheet.proofs:
        after = after_sentence(proof, sheet.unit)
        lines.append(proof_sentence(proof, sheet.unit) + (f"; {after}" if after else ""))
    return join(tag("h2", "Hold"), items(lines)) if lines else None


def _stated(asked: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """What was stated, a line each; the rest in one."""
    missing = ", ".join(name for name, value in asked if not value)
    return [
        *((name, value) for name, value in asked if value),
        *([("Not stated", missing)] if missing else []),
    ]


def _about_asked() -> Markup:
    return tag(
        "p",
        "After the lists of ISO 6892-1 (test report) and ISO 527-1 (test report), in our words. It does not make this "
        "a test by either.",
        class_="small",
    )


def _facts(lines: Sequence[tuple[str, str]]) -> Markup:
    return tag("dl", *(join(tag("dt", name), tag("dd", value)) for name, value in lines), class_="facts")
