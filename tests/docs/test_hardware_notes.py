"""The hardware notes agree with the firmware, the commands and the arithmetic that they quote."""

import json
import math
import re
import shlex
import sys
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import typer

from breakyard.cli import selftest_words
from breakyard.cli.app import app, main
from breakyard.cli.commands import register
from breakyard.cli.output import Output
from breakyard.device.selftest import Report, checks
from breakyard.device.selftest.measure import RATE_IS_A_WIRE
from breakyard.device.selftest.results import left_out
from breakyard.device.selftest.seen import Clock, Press, SelfTestResults, Store, Supply
from breakyard.plan.describe import rig_from_table
from breakyard.plan.elements import Element, check_element
from breakyard.plan.ranges import counts_per_mv_v, rail_mv_v
from breakyard.plan.standoff import stand_off
from breakyard.plan.template import RIG_TEMPLATE
from breakyard.units import FORCE_UNITS, parse_force
from breakyard.wire.layout import ResetCause

ROOT = Path(__file__).parent.parent.parent
NOTES = ROOT / "hardware_notes"
BOARD_FILES = ROOT / "firmware" / "logger" / "boards"
BOARDS = sorted(path.stem for path in (NOTES / "boards").glob("*.md"))
PAGES = {path.relative_to(NOTES).as_posix(): path.read_text(encoding="utf-8") for path in NOTES.rglob("*.md")}
OURS = {name: text for name, text in PAGES.items() if name != "calibrating.md"}
KNOWN_TO_FIRMWARE = sorted(
    path.stem
    for path in BOARD_FILES.glob("*.py")
    if path.stem not in ("__init__", "choose", "common", "virtual")
)


def table_rows(text: str) -> list[list[str]]:
    """Cells of every table row of a page, headers and rules included."""
    return [
        [cell.strip() for cell in line.strip().strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("|")
    ]


def pins_in_page(board: str) -> dict[str, int]:
    """Pin numbers by the constant's name, from the table of a board's page."""
    rows = [
        row for row in table_rows(PAGES[f"boards/{board}.md"]) if len(row) == 4 and row[3].endswith("_PIN")
    ]
    return {row[3]: int(re.sub(r"\D", "", row[1])) for row in rows}


def pins_in_firmware(board: str) -> dict[str, int]:
    """The constants `..._PIN` of a board file, those that it takes from another one included."""
    source = (BOARD_FILES / f"{board}.py").read_text(encoding="utf-8")
    pins = {name: int(number) for name, number in re.findall(r"^(\w+_PIN) = (?:const\()?(\d+)", source, re.M)}
    for other, names in re.findall(r"^from \.(\w+) import (.+)$", source, re.M):
        pins |= {name: pin for name, pin in pins_in_firmware(other).items() if name in names.split(", ")}
    return pins


def test_every_board_of_the_firmware_has_a_page() -> None:
    """A board that can be flashed can be wired."""
    assert set(KNOWN_TO_FIRMWARE) <= set(BOARDS)


@pytest.mark.parametrize("board", BOARDS)
def test_the_pin_table_is_that_of_the_board_file(board: str) -> None:
    """Names and numbers are the same; a page without a board file says so, and only then."""
    marked = "has no board file yet" in PAGES[f"boards/{board}.md"]

    assert marked == (board not in KNOWN_TO_FIRMWARE)
    if not marked:
        assert pins_in_page(board) == pins_in_firmware(board) != {}


@pytest.mark.parametrize("board", BOARDS)
def test_the_drawing_shows_the_pins_of_the_table(board: str) -> None:
    """Each pin of the table, with its place on the board, is written in the drawing; its page shows the drawing."""
    drawn = ["".join(text.itertext()) for text in texts_of(f"wiring_{board}.svg")]
    rows = [
        row for row in table_rows(PAGES[f"boards/{board}.md"]) if len(row) == 4 and row[3].endswith("_PIN")
    ]

    assert f"../wiring_{board}.svg" in PAGES[f"boards/{board}.md"]
    for _, pin, place, _ in rows:
        label = f"{pin} pin {place}" if place.isdigit() else pin
        assert label in [" ".join(text.split()) for text in drawn], label


def texts_of(drawing: str) -> list[ElementTree.Element]:
    """The text elements of a drawing, which must be well-formed, small and describe itself."""
    path = NOTES / drawing
    root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
    space = "{http://www.w3.org/2000/svg}"
    assert root.find(f"{space}title") is not None
    assert root.find(f"{space}desc") is not None
    assert path.stat().st_size < 10_000
    return list(root.iter(f"{space}text"))


@pytest.mark.parametrize("page", sorted(OURS))
def test_sources_named_are_listed(page: str) -> None:
    """Each key in brackets stands in sources.md."""
    named = set(re.findall(r"\[([DBSPT]\d+)\]", OURS[page]))
    listed = set(re.findall(r"^\| ([DBSPT]\d+) \|", PAGES["sources.md"], re.M))

    assert named <= listed


def test_sources_listed_are_used() -> None:
    """No thread or maker's page is listed that no page refers to."""
    used = set(re.findall(r"\[([DBSPT]\d+)\]", "\n".join(OURS.values())))
    listed = set(re.findall(r"^\| ([DBPT]\d+) \|", PAGES["sources.md"], re.M))

    assert listed <= used


@pytest.fixture(scope="module")
def commands() -> Mapping[str, Any]:
    """The commands, by name; a group of commands has `commands` of its own."""
    register(app)
    return dict(getattr(typer.main.get_command(app), "commands"))  # noqa: B009 - kinds differ between versions


@pytest.mark.parametrize("page", sorted(OURS))
def test_commands_exist_or_are_said_not_to(page: str, commands: Mapping[str, Any]) -> None:
    """A command that is printed exists; one that does not is "not there yet", and loses those words when it comes."""
    text = " ".join(OURS[page].split())
    for sentence in re.split(r"(?<=[.:|]) ", text):
        for name, sub in re.findall(r"`breakyard ([a-z]+)(?: ([a-z]+))?", sentence):
            found = commands.get(name)
            exists = found is not None and sub in getattr(found, "commands", [sub])
            assert exists != ("not there yet" in sentence), f"{page}: {sentence}"


RANGE_ROWS = re.findall(
    r"^\| `(breakyard range [^`]+)` \| (.+), at ([\d.]+ \w+) \|$", PAGES["range_and_gain.md"], re.M
)


@pytest.mark.parametrize(("command", "first", "load"), RANGE_ROWS)
def test_range_examples_say_what_is_printed(
    command: str, first: str, load: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the page says of each example is what the command answers; status 1 says that the load does not fit."""
    monkeypatch.setattr(sys, "argv", [*shlex.split(command), "--json"])
    status: object = 0
    try:
        main()
    except SystemExit as stopped:
        status = stopped.code or 0
    plan = json.loads(capsys.readouterr().out)

    assert status == (0 if plan["ok"] else 1)
    name = {"the converter clips": "clip", "the cell passes its safe overload": "safe overload"}[first]

    assert plan["first"]["name"] == name
    assert plan["first"]["load_n"] == pytest.approx(parse_force(load), rel=1e-3)


def test_there_are_range_examples() -> None:
    """The table was found."""
    assert len(RANGE_ROWS) >= 4


def test_clip_table_is_the_arithmetic_of_the_converter() -> None:
    """Percent of the capacity at which gain 128 and 64 clip, for 1, 2 and 3 mV/V (HX711 data sheet, full scale)."""
    rows = [row for row in table_rows(PAGES["range_and_gain.md"]) if re.fullmatch(r"\d mV/V", row[0])]

    assert len(rows) == 3
    for row in rows:
        output = float(row[0].split()[0])
        for cell, gain in zip(row[1:], (128, 64), strict=True):
            assert float(cell.split()[0]) == pytest.approx(100.0 * rail_mv_v(gain) / output, abs=0.5)


def test_counts_for_masses_are_the_arithmetic_of_the_plate() -> None:
    """The table of bring-up, step 6: counts = share of the capacity x 2 mV/V x counts per mV/V."""
    found = re.findall(r"^\| (\d+) kg on (\d+) kgf \| (\d+) \|$", PAGES["bring_up.md"], re.M)

    assert len(found) == 3
    for mass, capacity, counts in found:
        assert int(counts) == pytest.approx(
            float(mass) / float(capacity) * 2.0 * counts_per_mv_v(128), abs=0.6
        )


def test_shares_left_after_a_cut_are_those_of_repeated_averages() -> None:
    """Step halfway between two conversions through n box averages: 1 - Irwin-Hall distribution (textbook formula)."""
    rows = [row for row in table_rows(PAGES["step_response.md"]) if "times over one conversion" in row[0]]

    assert len(rows) == 2
    for row in rows:
        n = int(row[0].split()[0])
        left = [
            1.0
            - sum((-1) ** k * math.comb(n, k) * (x - k) ** n for k in range(int(x) + 1)) / math.factorial(n)
            for x in (i + 0.5 for i in range(n))
        ]
        printed = [float(share.strip(" %")) / 100.0 for share in row[2].split(",")]
        assert int(row[1]) == n
        assert printed == pytest.approx(left, abs=0.005)


def test_distances_of_the_drawing_are_those_of_the_plan() -> None:
    """The drawn example of a 6 m line shows the distances that the rig check computes."""
    shown = " ".join("".join(text.itertext()) for text in texts_of("rig.svg"))
    distances = stand_off(6.0)

    assert "6 m of low-stretch line" in shown
    assert f"{distances.minimum_m:g} m: whoever must be there" in shown
    assert f"{distances.bystanders_m:g} m: everyone else" in shown


# --- what joins shackle and cell, and the figures worked out beside the text


def joints() -> dict[str, list[str]]:
    """Rows of the table in cell_joints.md by their first cell, one entry per size of cell."""
    rows = [row for row in table_rows(PAGES["cell_joints.md"]) if len(row) == 5]
    return {row[0]: row[1:] for row in rows}


SIZES = joints()[""]


def fitting(column: int) -> Element:
    """The eye bolt or rod end of a column, as one describes it for the rig check."""
    kind = "eyebolt" if "eye bolt" in joints()["fitting, two of it"][column] else "rod end"
    name, load = joints()["its rating"][column].split(" ", 1)
    if kind == "eyebolt":
        assert name == "WLL"
        return Element("eye", kind, wll_n=parse_force(load))
    assert name == "static"
    return Element("rod end", kind, breaking_n=parse_force(load))


@pytest.mark.parametrize("column", range(len(SIZES)), ids=SIZES)
def test_the_shopping_table_agrees_with_the_rig_check(column: int) -> None:
    """The highest load of each column is what the check allows: its least rating, at twice the strength or more."""
    tf = FORCE_UNITS["tf"]
    highest_n = parse_force(joints()["highest load on the line, jerks included"][column])
    cell_n = float(SIZES[column].split()[0]) * tf
    shackle_n = float(joints()["bow shackles, four: WLL"][column].split()[0]) * tf
    parts = (
        Element("cell", "cell", wll_n=cell_n),
        fitting(column),
        Element("shackle", "shackle", wll_n=shackle_n),
    )
    checked = [check_element(part, highest_n) for part in parts]

    assert highest_n / tf == pytest.approx(min(check.wll_n or 0.0 for check in checked) / tf, abs=0.005)
    for check in checked:
        assert (check.margin or 0.0) >= 1.99
        assert (check.wll_use or 9.0) <= 1.005


@pytest.mark.parametrize("column", range(len(SIZES)), ids=SIZES)
def test_fitting_washers_and_gap_go_together(column: int) -> None:
    """Fitting and washers fill the shackle's gap but for a millimetre; a rod end's bore takes the pin."""
    _, pin, gap = (float(number) for number in joints()["bow, pin and gap of these, mm"][column].split(", "))
    width = float(joints()["the fitting's width, mm"][column].removeprefix("about "))
    washer = re.match(r"[\d.]+", joints()["washers on each side"][column])
    bore = re.search(r"bore (\d+)", joints()["fitting, two of it"][column])

    assert 0.0 <= gap - width - 2.0 * float(washer[0] if washer else 0.0) <= 1.0
    assert bore is None or pin < float(bore[1])
    assert (
        joints()["jam nuts, two"][column].replace(", ", " x ")
        in joints()["usual thread of an S-cell"][column]
    )


def test_the_template_has_what_the_table_sells() -> None:
    """The rig template's cell of 1 tf hangs on an eye bolt and a rod end that are for sale, with their ratings."""
    parts = rig_from_table(tomllib.loads(RIG_TEMPLATE)["rig"]).elements
    kinds = {part.kind: part for part in parts}
    (listed,) = re.findall(r"(\d+) kN for M12 in the list", " ".join(PAGES["cell_joints.md"].split()))

    assert (kinds["eyebolt"].wll_n or 0.0) <= (fitting(SIZES.index("1 t")).wll_n or 0.0)
    assert kinds["rod end"].breaking_n == pytest.approx(float(listed) * 1000.0)


def said(page: str, pattern: str) -> tuple[float, float]:
    """The one number that a page states in these words, and how far rounding may have taken it."""
    found = re.findall(pattern, " ".join(PAGES[page].split()))
    assert len(set(found)) == 1, (page, pattern, found)
    digits = str(found[0]).replace(" ", "")
    _, point, decimals = digits.partition(".")
    zeros = len(digits) - len(digits.rstrip("0")) if not point else 0
    return float(digits), 0.501 * 10.0 ** (zeros if not point else -len(decimals))


ARM_OHM = 350.0
SUPPLY_MV = 3300.0
RANGE_MV = 2.0 * SUPPLY_MV / 1000.0  # of a 2 mV/V cell


def leak_mv_v(ohm: float) -> float:
    """A resistance across one arm: difference of the two dividers (circuit theory)."""
    arm = ARM_OHM * ohm / (ARM_OHM + ohm)
    return 1000.0 * (ARM_OHM / (ARM_OHM + arm) - 0.5)


@pytest.mark.parametrize(
    ("page", "pattern", "worth"),
    [
        ("bring_up.md", r"across one arm of 350 ohm is ([\d.]+) mV/V", leak_mv_v(1e6)),
        ("bring_up.md", r"mV/V, ([\d.]+) % of a 2 mV/V cell; 20", 100.0 * leak_mv_v(1e6) / 2.0),
        ("bring_up.md", r"20 megohm are ([\d.]+) %", 100.0 * leak_mv_v(20e6) / 2.0),
        ("bring_up.md", r"cell by ([\d.]+) mV/V, 1 875", leak_mv_v(100e3)),
        ("bring_up.md", r"mV/V, ([\d ]+) counts at gain 128", leak_mv_v(100e3) * counts_per_mv_v(128)),
        ("self_test.md", r"mV/V, ([\d ]+) counts at gain 128", leak_mv_v(100e3) * counts_per_mv_v(128)),
        ("check_values.md", r"(\d+) counts, 2 %", leak_mv_v(100e3) * counts_per_mv_v(128)),
        ("check_values.md", r"0.1 % of the rated output: (\d+) counts", 0.002 * counts_per_mv_v(128)),
        ("check_values.md", r"5 % of the rated output: (\d+) counts", 0.1 * counts_per_mv_v(128)),
        ("wiring.md", r"together\) makes ([\d.]+) V", 1.25 * (20 * 22 / 42 + 8.2) / 8.2),
        ("wiring.md", r"10 kilohm in its place ([\d.]+) V", 1.25 * (10 + 8.2) / 8.2),
        ("wiring.md", r"milliohm is (\d+) mV", 200.0 * 0.01),
        ("wiring.md", r"gives ([\d.]+) mV in all", RANGE_MV),
        ("fast_rate.md", r"12 MHz, from [^|]*\| ([\d.]+) ", 12e6 / 138_240),
        ("fast_rate.md", r"\| 20 MHz \| ([\d.]+) ", 20e6 / 138_240),
        ("fast_rate.md", r"11.0592 MHz crystal \| ([\d.]+) ", 11.0592e6 / 138_240),
        ("noise.md", r"bridge's 175 ohm is ([\d.]+) mV", 1e-6 * ARM_OHM / 2 * 1000.0),
        ("noise.md", r"mV, ([\d.]+) % of a 2 mV/V cell", 100.0 * 1e-6 * ARM_OHM / 2 * 1000.0 / RANGE_MV),
        ("noise.md", r"all below (\d+) kHz", 1e-3 / (2 * math.pi * ARM_OHM / 2 * 1e-9)),
        ("noise.md", r"with 3.3 V at the bridge, (\d+) with 2.85", 59.0 * 3.3 / 2.85),
        ("noise.md", r"gain 128 and 3.3 V is ([\d.]+) nV", SUPPLY_MV * 1e6 / 128 / 2**24),
        ("power.md", r"the board for (\d+) ms", 470e-6 * (4.2 - 1.8) / 0.1 * 1000.0),
        ("power.md", r"350 ohm \| (\d+) mA", SUPPLY_MV / ARM_OHM),
        ("drift.md", r"zero \| ([\d.]+) %: 6 nV", 100.0 * 6e-6 / RANGE_MV),
        ("drift.md", r"\*\*([\d.]+) % \(24 AWG\)", 100.0 * 20 * 0.0842 / ARM_OHM * 0.0039 * 30),
        ("drift.md", r"to ([\d.]+) % \(28 AWG\)", 100.0 * 20 * 0.2129 / ARM_OHM * 0.0039 * 30),
        ("cable_and_box.md", r"40 m/s brings ([\d.]+) kJ", 0.5 * 1.5 * 40**2 / 1000.0),
    ],
)
def test_figures_marked_calculated(page: str, pattern: str, worth: float) -> None:
    """The number printed is the arithmetic of what stands beside it, to the digits printed."""
    number, rounding = said(page, pattern)

    assert number == pytest.approx(worth, abs=rounding)


def test_hours_are_energy_over_power() -> None:
    """Each row of the table of runtimes: watt-hours by the watts that the page assumes, to one hour."""
    rows = [row for row in table_rows(PAGES["power.md"]) if row[1].endswith("Wh")]

    assert len(rows) == 5
    for name, energy, pico, esp in rows:
        bank = "bank" in name
        assert float(pico.split()[0]) == pytest.approx(
            float(energy.split()[0]) / (0.4 if bank else 0.42), abs=1.0
        )
        assert (esp == "not to be used") != bank
        if bank:
            assert float(esp.split()[0]) == pytest.approx(float(energy.split()[0]) / 0.7, abs=1.0)


@pytest.mark.parametrize("drawing", sorted(path.name for path in NOTES.glob("*.svg")))
def test_every_drawing_is_shown_and_describes_itself(drawing: str) -> None:
    """Some page of the notes, or the README, shows it; it is small, well-formed, and has a title and a description."""
    pages = [*PAGES.values(), (ROOT / "README.md").read_text(encoding="utf-8")]

    assert any(re.search(rf"!\[[^\]]+\]\([\w/.]*{drawing}\)", page) for page in pages)
    assert texts_of(drawing)


def test_every_page_is_in_the_list_of_pages() -> None:
    """A builder who follows the README passes every page; the boards' pages are reached from the wiring."""
    linked = set(re.findall(r"\]\(([\w/]+\.md)\)", PAGES["README.md"] + PAGES["wiring.md"]))

    assert set(PAGES) - {"README.md", "sources.md"} <= linked


def test_links_between_pages_lead_somewhere() -> None:
    """Every relative link of every page names a file of the repository."""
    for name, text in PAGES.items():
        for target in re.findall(r"\]\((?!http)([^)#]+)", text):
            assert ((NOTES / name).parent / target).exists(), (name, target)


@pytest.mark.parametrize("board", BOARDS)
def test_battery_minus_goes_to_the_board_alone(board: str) -> None:
    """No ground loop: in the wiring table the converter's ground and the battery's minus have rows of their own."""
    rows = [row for row in table_rows(PAGES[f"boards/{board}.md"]) if len(row) == 4]
    grounds = [row for row in rows if row[1].startswith("GND")]

    assert not [row for row in grounds if "battery" in row[0] and "converter" in row[0]]
    assert any(
        row[0] == "converter GND, by one wire" or "converter GND, by one wire" in row[0] for row in grounds
    )


def test_every_part_that_is_drawn_is_on_the_list() -> None:
    """What the wiring shows can be ordered: parts and values of the drawings stand in parts.md."""
    drawn = " ".join("".join(text.itertext()) for text in texts_of("wiring_pico_w.svg"))
    parts = PAGES["parts.md"].lower()
    values = set(re.findall(r"[\d.]+ [nu]F", drawn))
    named = {"fuse", "switch", "diode", "ferrite", "connector", "battery"}

    assert values == {"1 nF", "100 nF", "100 uF", "470 uF"}
    assert "4.7 k" in drawn
    assert [value for value in {"4.7 kilohm", *values} if value.lower() not in parts] == []
    assert [name for name in named if name not in drawn or name not in parts] == []


@pytest.mark.parametrize(
    ("knots", "stretch", "kilojoules"),
    [(0.7, 0.2, (0.95, 1.1)), (0.9, 0.25, (1.9, 2.2)), (0.5, 0.25, (0.0, 1.0))],
)
def test_what_a_tether_absorbs(knots: float, stretch: float, kilojoules: tuple[float, float]) -> None:
    """Half of force times stretch, both less by what the ends keep: 7 kN, 3 m, as cable_and_box.md has it."""
    text = " ".join(PAGES["cable_and_box.md"].split())

    assert "3 m of 6 mm polyester bear some 7 kN" in text
    assert "it absorbs 1 to 2 kJ, once; with a knot that keeps half, less than 1 kJ" in text
    assert kilojoules[0] <= 0.5 * 7.0 * knots * 3.0 * stretch * knots <= kilojoules[1]


@pytest.mark.parametrize("board", BOARDS)
def test_three_cells_feed_no_linear_regulator(board: str) -> None:
    """An ESP32 board takes 5 V; a battery of three cells goes to the boards with a converter of their own."""
    wired = PAGES[f"boards/{board}.md"].split("\n* ")[0]

    assert ("battery +" in wired) == board.startswith("pico")
    assert ("5 V power bank" in wired) == board.startswith("esp32")


# --- the self-test


def made_up() -> Report:
    """What a good logger's measurements are made into."""
    rest = SelfTestResults(920, 9990, 0, 0, 0, 0, 0, 20498, 20332, 20661, 57800, 1, 71344)
    power = Supply(False, ResetCause.POWER, 0, 0, 1070)
    made = (
        checks.conversions(rest),
        checks.rate(rest, slow_wanted=False),
        checks.stuck(rest),
        checks.noise(rest),
        checks.zero(rest, 0),
        checks.pulses(rest),
        checks.missed(rest),
        left_out("noise, slow rate", RATE_IS_A_WIRE),
        checks.press(Press(38412, True, True, -31), ""),
        checks.link(21600.0),
        checks.store(Store(0, 4096, 71, 4)),
        checks.room(power),
        checks.supply(power),
        checks.memory(rest),
        checks.clock(Clock(21e-6, 410e-6, 11.0)),
    )
    return Report("e6614103e7172d2f", rest.rate_hz, "fast", made)


def test_the_example_is_what_the_command_shows(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The table in bring_up.md is the command's own for these measurements."""
    shown = re.search(r"<!-- self-test -->\n```\n(.*?)```\n<!-- end -->", PAGES["bring_up.md"], re.S)
    assert shown is not None
    monkeypatch.setenv("COLUMNS", "110")
    selftest_words.show(Output(False), made_up(), {"fast": None, "slow": None})
    said = [line.rstrip() for line in capsys.readouterr().out.splitlines()]

    assert [line for line in said if line] == [line.rstrip() for line in shown[1].splitlines() if line]


def test_every_check_stands_in_the_table() -> None:
    """Each name that the command prints has its row in self_test.md, and no row is left over."""
    rows = [row[0] for row in table_rows(PAGES["self_test.md"])][2:]
    named = [name for row in rows for name in row.split("; ")]

    assert sorted(named) == sorted([*(check.name for check in made_up().checks), "rate, RATE low", "shunt"])


def test_every_fault_that_the_firmware_names_is_explained() -> None:
    """What the logger's log says of the converter stands in faults.md, word for word."""
    source = (ROOT / "firmware" / "logger" / "core" / "faults.py").read_text(encoding="utf-8")
    listed = re.search(r"^NAMES = \((.*?)^\)", source, re.M | re.S)
    assert listed is not None
    names = [name for name in re.findall(r'"([^"]*)"', listed[1]) if name]

    assert len(names) >= 9
    assert [name for name in names if f'"{name}' not in PAGES["faults.md"]] == []
