"""The page: valid, complete, without network, safe with any names, honest where little is known."""

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

import html5lib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.calibration import Plate, calibrate, gravity_at, mass_point
from breakyard.errors import UsageError
from breakyard.plan.describe import rig_from_table
from breakyard.plan.rig import CAUTIONS, check_rig
from breakyard.report.figures.overlay_figure import overlay_figure
from breakyard.report.figures.pull_figure import pull_figure
from breakyard.report.figures.strip_figure import Strip, strip_figure
from breakyard.report.overlay import DrawnPull
from breakyard.report.page.content import Content, FileHash
from breakyard.report.page.markdown import literal, make_markdown
from breakyard.report.page.markup import Markup, clean, join, table, tag
from breakyard.report.page.page import make_page
from breakyard.report.page.sections.answer import figure_of
from breakyard.report.words.group_words import group_cells
from breakyard.report.words.ranking import level_text, ranked_groups
from breakyard.units import from_newtons

MakeContent = Callable[..., Content]

LOWER: dict[str, Any] = {
    "peak": {"bound": "lower", "high_n": None},
    "strength": {"at_least": True, "high_n": None},
    "flags": ("clipped",),
}
HELD: dict[str, Any] = {
    "strength": {"at_least": True, "high_n": None},
    "failure": {"manner": "none", "time_s": None, "load_n": None, "residual_n": None},
    "flags": ("no_break",),
}
HOSTILE = '<script>alert("1")</script>&amp;\x00\x1b[2J\u202etxt $x_1$ ]]> id="a" #0072b2 \U0001f529'

RIG = {
    "expected": "300..500 kgf",
    "element": [{"name": "shackle", "kind": "shackle", "wll": "2 tf"}],
    "line": [{"length_m": 6, "material": "hmpe"}],
    "anchor": [{"name": "van", "kind": "vehicle", "mass": "2600 kg", "surface": "dry concrete"}],
}


def scaled(factor: float) -> dict[str, Any]:
    """Changes that make a specimen stronger by a factor."""
    loads = {"low_n": 3978.0 * factor, "high_n": 4023.0 * factor}
    return {
        "peak": {"estimate_n": 4000.0 * factor, **loads},
        "strength": {"value_n": 4000.0 * factor, **loads},
    }


def parsed(page: str) -> ET.Element:
    """The page as a tree. html5lib's strict parser raises at the first error of HTML's grammar."""
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)


def words(tree: ET.Element) -> str:
    """All text that a reader sees, blanks collapsed."""
    hidden = {id(inside) for kind in ("script", "style") for one in tree.iter(kind) for inside in one.iter()}
    parts = [(one.text or "") if id(one) not in hidden else "" for one in tree.iter()]
    tails = [one.tail or "" for one in tree.iter()]
    return " ".join(" ".join(part for pair in zip(parts, tails, strict=True) for part in pair).split())


def local(element: ET.Element) -> str:
    """An element's name without its namespace."""
    return str(element.tag).rpartition("}")[2]


@pytest.fixture(scope="module")
def calibration() -> Any:
    """A calibration with known masses far below the pulls."""
    gravity = gravity_at(54.0, 3.0)
    points = [
        mass_point(kg, 100.0 + 6000.0 * kg, limit_kg=0.01, counts_standard=2.0) for kg in (0, 20, 40, 60)
    ]
    return calibrate(
        points, plate=Plate(capacity_n=9806.65, nonlinearity=0.0003), gravity=gravity, name="weights"
    )


@pytest.fixture(scope="module")
def full(make_content: MakeContent, calibration: Any) -> Content:
    """Two groups with everything a session can have."""
    pulls = [(f"B{k}", "bonded", scaled(1 + 0.02 * k)) for k in range(3)]
    pulls += [(f"S{k}", "screwed", scaled(2 + 0.02 * k)) for k in range(3)]
    known = calibration.content_hash
    content = make_content(*pulls, ("S3", "screwed", LOWER), ("S4", "screwed", HELD), unit="kgf")
    entries = tuple(
        replace(entry, summary=replace(entry.summary, run=replace(entry.summary.run, calibration_hash=known)))
        for entry in content.entries
    )
    return replace(
        content,
        entries=entries,
        place="slipway (invented)",
        notes="All of this\nis invented.",
        calibrations=(calibration,),
        rig=check_rig(rig_from_table(RIG), unit="kgf"),
        unread=(("X1", "X1.run: is this a run file?"),),
        files=(FileHash("runs/B0.run", 12, "ab" * 32),),
        versions=(("breakyard", "0.1.0"),),
        commands=("breakyard summarize . --unit kgf",),
    )


@pytest.fixture(scope="module")
def full_page(full: Content) -> str:
    """Its page."""
    return make_page(full)


def test_it_is_valid_and_nothing_in_it_meets_by_accident(full_page: str) -> None:
    """Grammar of HTML; each id once; each reference inside the page leads somewhere."""
    tree = parsed(full_page)

    ids = [one.get("id") for one in tree.iter() if one.get("id")]
    assert len(ids) == len(set(ids)) > 50
    targets = {
        one.get("href", "").removeprefix("#") for one in tree.iter() if one.get("href", "").startswith("#")
    }
    targets |= {
        one.get("{http://www.w3.org/1999/xlink}href", "#").removeprefix("#") for one in tree.iter()
    } - {""}
    targets |= set(
        re.findall(r"url\(#([^)]*)\)", " ".join(" ".join(one.attrib.values()) for one in tree.iter()))
    )
    targets |= {one.get("aria-labelledby") for one in tree.iter() if one.get("aria-labelledby")}  # type: ignore[misc]
    assert targets <= set(ids)
    assert len(targets) > 20


def test_it_needs_nothing_but_itself(full_page: str) -> None:
    """No address of anything outside, and a policy that forbids fetching and foreign scripts."""
    page, tree = full_page, parsed(full_page)

    assert not re.search(r"https?:|//[a-z]+\.|@import", page)
    for one in tree.iter():
        for name in ("src", "href", "action", "data", "poster"):
            assert one.get(name, "#").startswith(("#", "data:,"))
    assert not [
        one for one in tree.iter() if local(one) in ("img", "iframe", "object", "embed", "base", "form")
    ]
    assert "url(" not in "".join(re.findall(r"url\((?!#).{0,20}", page))
    policy = next(one.get("content") or "" for one in tree.iter("meta") if one.get("http-equiv"))
    assert policy.startswith("default-src 'none'")
    assert "script-src 'sha256-" in policy
    assert len(list(tree.iter("script"))) == 1


def test_everything_is_also_in_words(full_page: str) -> None:
    """Each picture has a text; each table a caption, and headings for all of its columns and rows."""
    tree = parsed(full_page)

    parents = {child: parent for parent in tree.iter() for child in parent}
    pictures = [one for one in tree.iter() if local(one) == "svg" and local(parents[one]) not in ("svg", "g")]
    shown = [one for one in pictures if one.get("aria-hidden") != "true"]
    assert len(shown) > 10
    for one in shown:
        assert one.get("role") == "img"
        assert len(one.get("aria-label") or "") > 30
    tables = list(tree.iter("table"))
    assert len(tables) >= 6
    for one in tables:
        assert "".join(next(one.iter("caption")).itertext()).strip()
        columns = [head for head in one.iter("th") if head.get("scope") == "col"]
        for row in next(one.iter("tbody")):
            assert [local(cell) for cell in row] == ["th"] + ["td"] * (len(columns) - 1)
            assert row[0].get("scope") == "row"
    levels = [int(local(one)[1]) for one in tree.iter() if re.fullmatch(r"h[1-6]", local(one))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert tree.get("lang") == "en"


def test_it_tells_what_a_session_has_to_tell(full: Content, full_page: str) -> None:
    """Pulls, doubts with reasons, comparison, method, limits of the calibration, cautions, hashes."""
    said = words(parsed(full_page))

    for entry in full.entries:
        assert entry.label in said
    assert "The load went off the converter's scale" in said
    assert "The specimen did not break" in said
    assert "X1: not read: X1.run: is this a run file?" in said
    assert full.comparison is not None
    assert full.comparison.pairs[0].sentence in said
    assert "Known loads reach 60" in said
    assert "Beyond the known loads nothing was compared" in said
    for caution in CAUTIONS:
        assert caution in said
    assert full.calibrations[0].content_hash in said
    assert "ab" * 32 in said
    assert "breakyard summarize . --unit kgf" in said
    assert "Local codes and qualified people" in said


def test_the_same_content_gives_the_same_bytes(full: Content, full_page: str) -> None:
    """So that a report can be compared with one made again from the raw records."""
    assert make_page(full) == full_page


def test_hostile_text_is_only_text(make_content: MakeContent) -> None:
    """Names and notes with markup, formulas, control and reordering signs: shown, never obeyed."""
    content = make_content((HOSTILE, HOSTILE, {}), ("B", "b", LOWER), title=HOSTILE, unit="kgf")
    hostile = replace(
        content,
        place=HOSTILE,
        notes=HOSTILE,
        rig_words=HOSTILE,
        unread=((HOSTILE, HOSTILE),),
        files=(FileHash(HOSTILE, 1, HOSTILE),),
        commands=(HOSTILE,),
        entries=tuple(replace(entry, notes=HOSTILE) for entry in content.entries),
    )

    page = make_page(hostile)
    tree = parsed(page)

    assert len(list(tree.iter("script"))) == 1
    assert '<script>alert("1")</script>' in (tree.findtext("head/title") or "")
    assert not re.search("[\x00-\x08\x0b-\x1f\u202a-\u202e\u2066-\u2069]", page)
    events = [name for one in tree.iter() for name in one.attrib if str(name).startswith("on")]
    assert events == []


@given(st.text(max_size=40))
def test_no_text_becomes_markup(text: str) -> None:
    """Whatever is put into an element or an attribute comes out of the parser as that very text, cleaned."""
    made = tag("p", text, title=text)

    tree = parsed(f"<!DOCTYPE html><html><head><title>t</title></head><body>{made}</body></html>")
    found = next(tree.iter("p"))

    # HTML's own newline rule: a parser reads CR as LF; ours replaces CR before it can.
    assert "".join(found.itertext()) == clean(text)
    assert found.get("title") == clean(text)
    assert len(found) == 0


def test_markup_stays_markup_and_nothing_is_nothing() -> None:
    """The two ways in: `Markup` as it is, text escaped; None leaves no trace."""
    assert join(Markup("<b>"), "<b>", None, [1, "&"]) == "<b>&lt;b&gt;1&amp;"
    assert tag("br") == "<br>"
    assert tag("input", checked=True, disabled=False, id=None) == "<input checked>"
    assert 'data-label="a &lt; b"' in table("c", ["x", "a < b"], [["1", "2"]])


@pytest.mark.parametrize(
    ("pulls", "wanted"),
    [
        ([("A1", "", {})], ["There is nothing to compare", "one specimen"]),
        ([("A1", "alone", {})], ["There is one group only", "one specimen"]),
        ([("A1", "a", {}), ("B1", "b", scaled(1.1))], ["Can't tell a from b: too few"]),
        ([("A1", "a", LOWER), ("B1", "b", HELD)], ["at least", "Can't tell a from b: too few"]),
    ],
    ids=["no group", "one group", "one of each", "only bounds"],
)
def test_little_data_gets_no_false_claim(
    make_content: MakeContent, pulls: list[tuple[str, str, dict[str, Any]]], wanted: list[str]
) -> None:
    """One specimen, one group, bounds alone: a valid page that says what it can't tell."""
    said = words(parsed(make_page(make_content(*pulls))))

    for sentence in wanted:
        assert sentence in said
    assert "carries more than" not in said
    assert "No calibration was used" in said
    assert "The rig is not described" in said
    assert CAUTIONS[1] in said


def test_no_pull_is_no_report(make_content: MakeContent) -> None:
    """One clear line instead of an empty page."""
    with pytest.raises(UsageError, match="no pull"):
        make_page(make_content())


def test_curves_lose_nothing_that_can_be_seen(full: Content, full_page: str) -> None:
    """The stored line's highest point is the curve's highest load that counts, to a ten-thousandth of the chart."""
    tree = parsed(full_page)

    path = next(one for one in tree.iter() if one.get("id") == "curve-0").get("d") or ""
    heights = []
    for piece in path.split("M")[1:]:
        numbers = [int(word) for word in re.findall(r"-?\d+", piece)]
        height = numbers[1]
        heights.append(height)
        for step in numbers[3::2]:
            height += step
            heights.append(height)
    top_n = max(entry.summary.peak.high_n or entry.summary.peak.estimate_n for entry in full.entries)
    highest_n = max(heights) / 10_000 * top_n

    assert len(path.split("M")) == 3  # one gap
    assert highest_n == pytest.approx(4000.0, abs=0.02 * 4000.0)  # the glitch of 90 kN is not drawn
    assert min(heights) > -100


def test_markdown_is_escaped_and_tells_the_same(full: Content) -> None:
    """Tables with as many cells as headings; names can't break out of them."""
    hostile = replace(
        full, entries=(replace(full.entries[0], label="a|b `c` <i> [x](y)\n# d"), *full.entries[1:])
    )

    text = make_markdown(hostile)

    rows = [re.findall(r"(?<!\\)\|", line) for line in text.splitlines() if line.startswith("|")]
    assert {len(row) for row in rows} <= {7, 9}
    assert r"a\|b \`c\` \<i\> \[x\](y) \# d" in text
    assert "Can't tell" in text or "carries more than" in text
    assert full.calibrations[0].content_hash in text
    assert text.splitlines()[0].startswith("# Pulls")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1. no list", "1\\. no list"),
        ("- no list", "\\- no list"),
        ("383.07 kgf", "383.07 kgf"),
        ("a_b", "a\\_b"),
    ],
)
def test_markdown_takes_text_literally(text: str, expected: str) -> None:
    """CommonMark 0.31, 2.4: any ASCII punctuation may be escaped by a backslash."""
    assert literal(text) == expected


def test_pictures_take_any_name(make_content: MakeContent) -> None:
    """A title or label with formulas, markup or letters that the font lacks: drawn as it is, as valid SVG and PNG."""
    content = make_content((HOSTILE, "$\\bad{$ \u65e5\u672c", LOWER), ("B", "b", {}))
    first = content.entries[0]
    strips = [Strip(entry.summary, entry.label, entry.group) for entry in content.entries]
    pulls = [DrawnPull(entry.curve, entry.summary, entry.label, entry.group) for entry in content.entries]

    for picture in (
        strip_figure(strips, comparison=content.comparison),
        overlay_figure(pulls),
        pull_figure(first.curve, first.summary, title=HOSTILE),
    ):
        for data in (picture.svg(), picture.svg(with_text=True)):
            assert ET.fromstring(data).get("aria-label") == clean(picture.alt).replace("\n", " ")
        assert picture.png().startswith(b"\x89PNG")


LEVELS = {"ash": 1.1, "beech": 0.8, "cedar": 1.3, "fir": 0.7, "larch": 1.2, "oak": 1.5, "pine": 0.9}


def three_of(factors: dict[str, float]) -> list[tuple[str, str, dict[str, Any]]]:
    """Three specimens of each group, 1 % apart."""
    return [
        (f"{name}{at}", name, scaled(factor * (1.0 + 0.01 * at)))
        for name, factor in factors.items()
        for at in range(3)
    ]


def test_a_verdict_on_many_groups_is_short(make_content: MakeContent) -> None:
    """Who is ahead and who is not told from it; 21 pairs one by one are for the section on the comparison."""
    page = words(parsed(make_page(make_content(*three_of(LEVELS)))))
    assert "oak came out strongest, and carries more than every other group." in page
    assert "of the 21 pairs are told apart." in page
    level = words(parsed(make_page(make_content(*three_of({**LEVELS, "oak": 1.3})))))
    assert "; it is not told from" in level


def test_a_name_too_long_for_its_place_stands_above_its_row(make_content: MakeContent) -> None:
    """Beside the row it was cut off at the picture's edge; what is longer than a phone is wide ends in dots."""
    name = "through bolt with large washers"
    wide, longest = (
        re.search(r'<svg class="chart bars roomy.*?</svg>', make_page(make_content(*pulls)), re.S)
        for pulls in (three_of({"ash": 1.0, name: 1.2}), three_of({"ash": 1.0, "x" * 60: 1.2}))
    )
    assert wide is not None
    assert re.search(f'<text (?!class="end")[^>]*>{name}</text>', wide[0])
    assert longest is not None
    assert f">{'x' * 39}\N{HORIZONTAL ELLIPSIS}</text>" in longest[0]


def test_a_group_with_bounds_has_one_median_everywhere(make_content: MakeContent) -> None:
    """The figure, the table and the ranking show the median that the interval belongs to, rounded alike."""
    pulls = [(f"A{at}", "a", scaled(1.0 + 0.02 * at)) for at in range(4)] + [("A4", "a", HELD)]
    content = make_content(*pulls, ("B1", "b", scaled(1.3)), ("B2", "b", scaled(1.32)))
    assert content.comparison is not None
    group = content.comparison.groups[0]
    assert group.at_least == 1

    large, _ = figure_of(content, "a")

    assert large == group_cells(group, content.unit)[6]
    assert level_text(ranked_groups(content.comparison)[1], content.unit).split(" (")[0] == large
    assert group.weibull is not None
    assert float(large) == pytest.approx(from_newtons(group.weibull.median_n, content.unit), rel=0.005)


def test_many_groups_are_ranked_before_any_table(make_content: MakeContent) -> None:
    """More than six groups: figures and picture have the strongest first; six keep their owner's order, colours too."""
    factors, pulls = LEVELS, three_of(LEVELS)
    many, few = make_page(make_content(*pulls)), make_page(make_content(*pulls[:18]))

    ranked = sorted(factors, key=factors.__getitem__, reverse=True)
    for chart in re.findall(r'<svg class="chart bars.*?</svg>', many, re.S):
        assert [name for name in re.findall(r">([a-z]+)</text>", chart) if name in factors] == ranked
    tiles = re.findall(r'<li class="(g\d)"><span class="name" dir="auto">(\w+)', many)
    assert [name for _, name in tiles] == ranked[:6]
    assert many.index("The strongest first.") < many.index("<table")
    in_rows = re.findall(r'<li class="(g\d)"><span class="name" dir="auto">(\w+)', few)
    assert [name for _, name in in_rows] == list(factors)[:6]
    colours = {name: colour for colour, name in in_rows}
    assert all(colours.get(name, colour) == colour for colour, name in tiles)
    assert "The strongest first." not in few
