"""breakyard compare and breakyard design: exit status, one JSON document, one clear line, and a table people read."""

import json
import math
import random
import re
from collections.abc import Callable
from pathlib import Path

import pytest
import typer

from breakyard.cli import compare as compare_command
from breakyard.cli import design as design_command
from breakyard.cli.output import guarded
from breakyard.formats.read_csv import parse_csv
from breakyard.report.words.values import strength_text
from breakyard.session import create_session, open_session
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run one of the two commands; returns exit status, standard output and standard error."""
    monkeypatch.setenv("COLUMNS", "160")
    app = typer.Typer(pretty_exceptions_enable=False, rich_markup_mode=None)
    app.command("compare")(compare_command.command)
    app.command("design")(design_command.command)

    def call(*arguments: str | Path) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            guarded(lambda: app([str(one) for one in arguments]))
        out, err = capsys.readouterr()
        return int(ended.value.code or 0), out, err

    return call


def recording(peak_n: float, *, broke: bool = True) -> bytes:
    """An invented recording at 100/s: 2 s of nothing, 10 s of ramp to the peak, then the break or a slow way down."""
    rows = ["time s;load N"]
    for i in range(1800):
        t = i / 100
        up = max(0.0, min((t - 2.0) / 10.0, 1.0)) * peak_n
        down = 0.0 if broke else max(0.0, 1.0 - (t - 12.0) / 5.0) * peak_n
        ripple = 0.3 * ((i * 7919) % 13 - 6) / 6.0
        rows.append(f"{t:.3f};{(up if t <= 12.0 else down) + ripple:.3f}")
    return "\n".join(rows).encode()


PEAKS = {
    "bonded": (4380.0, 4590.0, 4470.0, 4510.0),
    "screwed": (3980.0, 4010.0, 3870.0, 4090.0),
}


def session(folder: Path, *, held: bool = False, alone: bool = False) -> Path:
    """A session with two groups of four; one was let go if `held`; one group has one specimen if `alone`."""
    listed, loads = [], {}
    for group, peaks in PEAKS.items():
        for i, peak in enumerate(peaks if not (alone and group == "screwed") else peaks[:1]):
            name = f"{group[0].upper()}{i + 1}"
            more = {"price_EUR": f"{2 + i},50", "remark": "x"}
            listed.append(Specimen(name, group, mass_kg=0.050 if i else None, more=more))
            loads[name] = peak
    made = create_session(folder, SessionInfo(unit="kN"), listed)
    for name, peak in loads.items():
        data = recording(peak, broke=not (held and name == "B2"))
        made.add_recording(f"run-{name}", data, parse_csv(data), specimen=name, accuracy=0.005)
    return folder


def test_compare_says_who_carries_more(run: Run, tmp_path: Path) -> None:
    """Table in the session's unit, verdict in words, the shared calibration explained; status 0."""
    status, out, _ = run("compare", session(tmp_path / "s"))

    assert status == 0
    assert "strength in kN" in out
    assert "* bonded carries about 8." in out
    assert "to 17 % more than screwed" in out
    assert "All pulls share one calibration" in out


def test_a_load_is_rounded_as_where_it_is_read(run: Run, tmp_path: Path) -> None:
    """The weakest and the strongest of a group have the digits that the summaries give them, in any unit."""
    folder = session(tmp_path / "s")
    summaries = [result.summary for result in open_session(folder).results() if result.summary is not None]
    _, out, _ = run("compare", folder, "--unit", "lbf")
    (row,) = (line for line in out.splitlines() if "Lowest to highest" in line)
    written = re.findall(r"([0-9.]+) to ([0-9.]+)", row)

    read = [strength_text(one, "lbf").split(" (")[0] for one in summaries]
    bonded, screwed = sorted(read, key=float)[4:], sorted(read, key=float)[:4]
    assert written == [(bonded[0], bonded[-1]), (screwed[0], screwed[-1])]


def test_compare_json_is_one_document(run: Run, tmp_path: Path) -> None:
    """--json prints newtons and nothing else."""
    status, out, _ = run("compare", session(tmp_path / "s"), "--json")
    document = json.loads(out)

    assert status == 0
    assert document["schema"] == "breakyard.comparison/2"
    assert [group["name"] for group in document["groups"]] == ["bonded", "screwed"]
    assert document["groups"][0]["mean_n"] == pytest.approx(sum(PEAKS["bonded"]) / 4, rel=0.01)
    # The stated 0.5 %, and what the cell alone leaves on every pull.
    assert 0.005 <= document["groups"][0]["shared_relative"] < 0.006


def test_a_pull_that_was_let_go_is_at_least(run: Run, tmp_path: Path) -> None:
    """B2 did not break: it is censored, and said to be."""
    status, out, _ = run("compare", session(tmp_path / "s", held=True), "--json")
    bonded = json.loads(out)["groups"][0]

    assert status == 0
    assert bonded["at_least"] == 1
    assert bonded["mean_n"] is None
    assert [pull["specimen"] for pull in bonded["pulls"] if pull["at_least"]] == ["B2"]


def test_one_specimen_is_not_ranked(run: Run, tmp_path: Path) -> None:
    """A group of one: too few, with what would have to be true."""
    status, out, _ = run("compare", session(tmp_path / "s", alone=True))

    assert status == 0
    assert "* Can't tell bonded from screwed: too few; there is one specimen of screwed" in out


def test_per_gram_names_who_has_no_mass(run: Run, tmp_path: Path) -> None:
    """N per gram where a mass is known; the others are left out by name."""
    _, out, _ = run("compare", session(tmp_path / "s"), "--per", "mass", "--json")
    document = json.loads(out)

    assert document["quantity"] == {"name": "strength", "per": "mass", "unit": "N/g"}
    assert document["groups"][0]["n"] == 3
    assert document["left_out"] == ["B1: no mass in specimens.csv", "S1: no mass in specimens.csv"]
    assert document["groups"][0]["max_n"] == pytest.approx(4590.0 / 50.0, rel=0.01)


def test_per_price_takes_a_column(run: Run, tmp_path: Path) -> None:
    """A column of the table with a decimal comma; its last word is the unit."""
    _, out, _ = run("compare", session(tmp_path / "s"), "--per", "price_EUR")

    assert "strength in kN/EUR" in out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--reference", "glued"), 'no group "glued"; there is bonded, screwed'),
        (("--per", "colour"), 'no column "colour" to divide by; there is mass, price_EUR, remark'),
        (("--per", "remark"), '"x" is not a number'),
        (("--unit", "kg"), "write kgf if you mean kgf"),
        (("--matters", "10"), "--matters"),
        (("--matters", "0%"), "difference that matters"),
        (("--of", "settled"), "no pull can be compared"),
    ],
)
def test_wrong_use_gets_one_line_and_2(
    run: Run, tmp_path: Path, words: tuple[str, ...], message: str
) -> None:
    """Unknown group, unknown column, a mass where a force belongs, a share that is none."""
    status, out, err = run("compare", session(tmp_path / "s"), *words)
    lines = [line for line in err.splitlines() if line.startswith("breakyard: ")]

    assert (status, out) == (2, "")
    assert len(lines) == 1
    assert message in lines[0]


def test_a_run_without_a_group_is_left_out_by_name(run: Run, tmp_path: Path) -> None:
    """No specimen row, no group: it takes no part and is named."""
    made = open_session(session(tmp_path / "s"))
    data = recording(5000.0)
    made.add_recording("stray", data, parse_csv(data), accuracy=0.005)
    _, out, _ = run("compare", made.root)

    assert "! left out: stray: it has no group; give it one in specimens.csv" in out


def test_two_sessions_are_compared_together(run: Run, tmp_path: Path) -> None:
    """The same ids in two sessions are different specimens."""
    status, out, _ = run("compare", session(tmp_path / "one"), session(tmp_path / "two"), "--json")
    document = json.loads(out)

    assert status == 0
    assert [group["n"] for group in document["groups"]] == [8, 8]
    assert document["groups"][0]["pulls"][0]["specimen"] == "one/B1"


def test_design_plans_without_a_session(run: Run) -> None:
    """Groups and scatter on the command line: number, table and order; status 0."""
    status, out, _ = run("design", "--groups", "bonded, screwed", "--scatter", "8%", "--difference", "20%")

    assert status == 0
    assert "specimens per group show a difference of 20 %" in out
    assert "One against one ranks nothing by itself" in out
    assert "Pulling order (seed 1)" in out


def test_design_writes_the_order_once(run: Run, tmp_path: Path) -> None:
    """An empty table gets its rows and order; a second plan does not touch it; the JSON says what was written."""
    folder = tmp_path / "s"
    create_session(folder, SessionInfo())
    status, out, _ = run("design", folder, "--groups", "bonded, screwed", "--per-group", "3", "--json")
    document = json.loads(out)
    table = open_session(folder).specimens()

    assert status == 0
    assert document["schema"] == "breakyard.design/1"
    assert Path(document["written"]) == folder / "specimens.csv"
    assert sorted(one.id for one in table) == [f"{g}-{i}" for g in ("bonded", "screwed") for i in (1, 2, 3)]
    assert sorted(one.order or 0 for one in table) == [1, 2, 3, 4, 5, 6]

    before = (folder / "specimens.csv").read_bytes()
    status, _, err = run("design", folder, "--seed", "2")
    assert status == 2
    assert "there is an order already" in err
    assert (folder / "specimens.csv").read_bytes() == before


def test_design_orders_the_specimens_that_are_there(run: Run, tmp_path: Path) -> None:
    """A table without an order gets one; people's columns stay."""
    folder = session(tmp_path / "s")
    status, _, _ = run("design", folder, "--scatter", "5%")
    table = open_session(folder).specimens()

    assert status == 0
    assert sorted(one.order or 0 for one in table) == list(range(1, 9))
    assert all(one.more["remark"] == "x" for one in table)


def test_design_learns_the_scatter_from_past_sessions(run: Run, tmp_path: Path) -> None:
    """The pooled scatter of earlier groups, and its cautious upper limit, are what it plans with."""
    _, out, _ = run("design", "--from", session(tmp_path / "s"), "--groups", "a,b", "--json")
    scatter = json.loads(out)["scatter"]

    assert scatter["from"] == "past sessions"
    assert scatter["degrees_of_freedom"] == 6
    assert 0.015 < scatter["cautious_cv"] / 1.4 < scatter["cv"] < scatter["cautious_cv"] < 0.04


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--groups", "bonded"), "not a comparison"),
        (("--groups", "a, a"), "names a group twice"),
        (("--scatter", "10"), "--scatter"),
        (("--scatter", "10%", "--confidence", "5%"), "confidence"),
        (("--difference", "0.01%"), "more than 10000"),
        (("nowhere",), "no session"),
    ],
)
def test_wrong_plans_get_one_line_and_2(run: Run, words: tuple[str, ...], message: str) -> None:
    """What cannot be planned says why."""
    status, out, err = run("design", *words)

    assert (status, out) == (2, "")
    assert message in err
    assert "Traceback" not in err


def factor_session(folder: Path, shift: float = 1.0) -> Path:
    """Invented: three woods, two directions, two of each; one day; each pull takes the same time."""
    listed, loads = [], {}
    noise = random.Random(shift)
    factor = {"oak": 1.0, "ash": 1.3, "elm": 0.9, "along": 1.0, "across": 0.7}
    for i, (wood, direction) in enumerate((w, d) for w in ("oak", "ash", "elm") for d in ("along", "across")):
        for n in range(2):
            name = f"{wood}-{direction}-{n}"
            more = {"wood": wood, "direction": direction, "temperature_C": str(12 + (5 * i + 3 * n) % 7)}
            more["asked_kN"] = "3,5" if direction == "along" else "2,0"
            listed.append(Specimen(name, f"{wood} {direction}", more=more))
            scatter = math.exp(0.02 * noise.gauss(0.0, 1.0))
            loads[name] = 5000.0 * factor[wood] * factor[direction] * scatter * shift
    made = create_session(folder, SessionInfo(unit="kN"), listed)
    for name, peak in loads.items():
        data = recording(peak)
        made.add_recording(f"run-{name}", data, parse_csv(data), specimen=name, accuracy=0.005)
    return folder


def test_two_days_are_compared_by_their_factors(run: Run, tmp_path: Path) -> None:
    days = [factor_session(tmp_path / "day1"), factor_session(tmp_path / "day2", 1.05)]
    status, out, _ = run(
        "compare", *days, "--by", "wood,direction", "--block", "session", "--adjust", "temperature", "--json"
    )
    document = json.loads(out)
    assert (status, document["schema"], document["specimens"]) == (0, "breakyard.factors/1", 24)
    ratios = {(one["first"], one["second"]): one for one in document["ratios"]}
    assert len(ratios) == 4
    assert ratios["oak", "ash"]["ratio"] == pytest.approx(1.0 / 1.3, rel=0.04)
    assert ratios["along", "across"]["verdict"] == "first_more"
    (shift,) = document["shifts"]
    assert shift["ratio_low"] < 1.05 < shift["ratio_high"]
    status, out, _ = run("compare", *days, "--by", "wood,direction", "--block", "session")
    assert status == 0
    lines = out.splitlines()
    assert lines[1].split()[:2] == ["ash,", "along"]  # the ranking comes first, the strongest on top
    assert "wood and direction act independently, as far as these specimens show" in out
    assert "day2: everything carried" in out


def test_a_condition_is_told_with_its_column(run: Run, tmp_path: Path) -> None:
    """The name with its unit, in a sentence that can be read aloud; two names of one column are one condition."""
    days = [factor_session(tmp_path / "day1"), factor_session(tmp_path / "day2", 1.05)]
    asked = ("compare", *days, "--by", "wood,direction", "--adjust")
    status, out, _ = run(*asked, "temperature")
    assert status == 0
    said = " ".join(out.split())
    assert re.search(
        r"No effect of temperature_C shown: at 18 the load is [\d.]+ to [\d.]+ times that at 12 \(95 % sure",
        said,
    )
    assert run(*asked, "temperature,temperature_C")[0] == 2


def test_a_rate_that_follows_the_strength_is_not_taken_out(run: Run, tmp_path: Path) -> None:
    """Pulls that all take the same time load the stronger one faster: with the rate, woods 1.3 apart were called
    alike; materials follow the rate to a power of 0.1 at most."""
    day = factor_session(tmp_path / "day")
    status, out, _ = run("compare", day, "--by", "wood,direction", "--json")
    ratios = {(one["first"], one["second"]): one["verdict"] for one in json.loads(out)["ratios"]}
    assert (status, ratios["oak", "ash"]) == (0, "second_more")
    status, out, err = run("compare", day, "--by", "wood,direction", "--adjust", "rate")
    assert (status, out) == (2, "")
    assert "leave --adjust rate out" in err


def test_one_factor_alone_is_a_comparison_of_groups(run: Run, tmp_path: Path) -> None:
    day = factor_session(tmp_path / "day1")
    status, out, _ = run("compare", day, "--by", "wood", "--json")
    document = json.loads(out)
    assert (status, document["schema"]) == (0, "breakyard.comparison/2")
    assert [group["name"] for group in document["groups"]] == ["oak", "ash", "elm"]


def test_a_column_that_is_not_there_is_named_with_those_that_are(run: Run, tmp_path: Path) -> None:
    day = factor_session(tmp_path / "day1")
    for arguments in (("--by", "wood,woood"), ("--by", "wood", "--adjust", "warmth")):
        status, _, err = run("compare", day, *arguments)
        assert status == 2
        assert "specimens.csv has no column" in err
        assert "wood" in err
    status, _, err = run("compare", day, "--block", "session")
    assert (status, "--by" in err) == (2, True)


def test_a_minimum_is_shown_or_not_and_the_exit_status_says_so(run: Run, tmp_path: Path) -> None:
    day = session(tmp_path / "a")
    status, out, _ = run("compare", day, "--at-least", "2 kN")
    assert status == 0
    assert "bonded: shown; 4 of 4 bore 2.00 kN beyond doubt" in out
    assert "It rates no part" in out
    status, out, _ = run("compare", day, "--at-least", "4 kN")
    assert status == 1
    assert "screwed: not shown; 1 of 4 bore" in out or "screwed: not shown; 2 of 4 bore" in out
    status, out, _ = run("compare", day, "--at-least", "70%", "--reference", "bonded", "--json")
    assert (status, json.loads(out)["at_least"][0]["outcome"]) == (0, "shown")
    status, _, err = run("compare", day, "--at-least", "70%")
    assert (status, "--reference" in err) == (2, True)


def test_each_specimen_can_have_its_own_minimum(run: Run, tmp_path: Path) -> None:
    day = factor_session(tmp_path / "day1")
    status, out, _ = run("compare", day, "--by", "direction", "--at-least", "asked_kN", "--json")
    assert status == 2  # a minimum holds groups, not factors
    status, out, _ = run("compare", day, "--at-least", "asked_kN", "--json")
    found = {one["group"]: one for one in json.loads(out)["at_least"]}
    assert (found["oak along"]["above"], found["elm across"]["above"]) == (2, 2)
    status, _, err = run("compare", day, "--at-least", "asked")
    assert (status, "ends in a unit of force" in err) == (2, True)


def test_a_campaign_of_factors_is_planned_and_written(run: Run, tmp_path: Path) -> None:
    made = create_session(tmp_path / "s", SessionInfo(unit="kN"), ())
    status, out, _ = run(
        "design",
        made.root,
        "--factors",
        "wood=oak,ash; direction=along,across",
        "--days",
        "2",
        "--per-group",
        "2",
    )
    assert status == 0
    table = open_session(made.root).specimens()
    assert len(table) == 8
    assert {one.more["day"] for one in table if one.more["wood"] == "oak"} == {"1", "2"}
    assert sorted(one.order or 0 for one in table) == list(range(1, 9))
    assert "--by wood,direction --block day" in out
    again = ("--factors", "wood=oak,ash; direction=along,across", "--days", "2", "--per-group", "2")
    assert run("design", made.root, *again)[0] == 0  # the same plan again changes nothing
    status, _, err = run("design", made.root, *again, "--seed", "2")
    assert (status, "there are specimens already" in err) == (2, True)
    status, _, err = run("design", "--factors", "wood=oak,ash,elm", "--days", "3", "--per-group", "1")
    assert (status, "cannot be separated from the days" in err) == (2, True)
