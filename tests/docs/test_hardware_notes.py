"""The hardware notes agree with the firmware, the commands and the arithmetic that they quote."""

import json
import math
import re
import shlex
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import typer

from breakyard.cli import selftest
from breakyard.cli.app import app, main
from breakyard.cli.commands import register
from breakyard.cli.output import Output
from breakyard.device.selftest import Report, checks
from breakyard.device.selftest.measure import RATE_IS_A_WIRE
from breakyard.device.selftest.results import left_out
from breakyard.device.selftest.seen import Clock, Press, Samples, Store, Supply
from breakyard.plan.ranges import counts_per_mv_v, rail_mv_v
from breakyard.plan.standoff import stand_off
from breakyard.units import parse_force
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


# --- the self-test


def made_up() -> Report:
    """What a good logger's measurements are made into."""
    rest = Samples(920, 9990, 0, 0, 0, 0, 0, 20498, 20332, 20661, 57800, 1, 71344)
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
    selftest.show(Output(False), made_up(), {"fast": None, "slow": None})
    said = [line.rstrip() for line in capsys.readouterr().out.splitlines()]

    assert [line for line in said if line] == [line.rstrip() for line in shown[1].splitlines() if line]


def test_every_check_stands_in_the_table() -> None:
    """Each name that the command prints has its row in self_test.md, and no row is left over."""
    rows = [row[0] for row in table_rows(PAGES["self_test.md"])][2:]
    named = [name for row in rows for name in row.split("; ")]

    assert sorted(named) == sorted([*(check.name for check in made_up().checks), "rate, RATE low"])


def test_every_fault_that_the_firmware_names_is_explained() -> None:
    """What the logger's log says of the converter stands in faults.md, word for word."""
    source = (ROOT / "firmware" / "logger" / "core" / "faults.py").read_text(encoding="utf-8")
    listed = re.search(r"^NAMES = \((.*?)^\)", source, re.M | re.S)
    assert listed is not None
    names = [name for name in re.findall(r'"([^"]*)"', listed[1]) if name]

    assert len(names) >= 9
    assert [name for name in names if f'"{name}' not in PAGES["faults.md"]] == []
