"""breakyard calibrate, as a user meets it: three ways in, mistakes named, pictures, one line for wrong input."""

from collections.abc import Callable
from pathlib import Path

import pytest

from breakyard.calibration import Calibration
from breakyard.simulate.converter import Converter, counts_per_mv_v

from .calibration_runs import (
    CAPACITY_KGF,
    GRAVITY,
    KGF,
    MASSES,
    PLACE,
    PLATE,
    UP_AND_DOWN,
    hung,
    make_cell,
    write_run,
)
from .conftest import Said

Breakyard = Callable[..., Said]
POUND_KG = 0.45359237


def zero_and(counts_kgf: float) -> tuple[float, float]:
    """Counts of the simulated cell without load and at a load."""
    cell, per = make_cell(), counts_per_mv_v(128)
    return per * float(cell.static_mv_v(0.0)), per * float(cell.static_mv_v(counts_kgf * KGF))


def codes(said: Said) -> list[str]:
    return [finding["code"] for finding in said.document["findings"]]


def test_a_sound_calibration_says_everything_and_holds_the_truth(
    breakyard: Breakyard, tmp_path: Path
) -> None:
    """Points, intervals, quality, no mistake; the interval at 60 and 1200 kgf covers the simulated load."""
    write_run(tmp_path / "cal.run", hung())

    said = breakyard("calibrate", "cal.run", "--masses", MASSES, *PLATE, *PLACE, "--unit", "kgf")
    as_json = breakyard("calibrate", "cal.run", "--masses", MASSES, *PLATE, *PLACE, "--name", "two", "--json")

    assert said.status == as_json.status == 0
    for words in (
        "highest known load", "extrapolated x 5", "the cell's capacity", "ISO 376 class", "ISO 7500-1 class",
        "ASTM E74: lower limit factor", "this is no accredited calibration", "No usual mistake was found",
        "written: cal.calibration.json",
    ):  # fmt: skip
        assert words in said.out
    made = Calibration.from_json(as_json.document)
    assert made == Calibration.from_json((tmp_path / "two.calibration.json").read_text())
    assert as_json.document["findings"] == []
    assert as_json.document["derived"]["quality"]["iso_376"] is not None
    assert made.provenance
    for kgf in (60.0, 1200.0):
        zero, counts = zero_and(kgf)
        interval = made.interval(counts, zero)
        assert interval.low_n < kgf * KGF < interval.high_n
    assert made.extrapolation(1200 * KGF) == pytest.approx(20.0, rel=0.01)


def test_the_printed_document_is_itself_a_calibration(breakyard: Breakyard, tmp_path: Path) -> None:
    """What --json prints can be kept and used in place of the file."""
    write_run(tmp_path / "cal.run", hung())
    said = breakyard("calibrate", "cal.run", "--masses", MASSES, *PLATE, *PLACE, "--json")
    (tmp_path / "printed.json").write_text(said.out)

    drawn = breakyard("plot", "cal.run", "--view", "calibration", "-c", "printed.json", "-o", "p.svg")
    used = breakyard("plot", "cal.run", "--view", "plateaus", "-c", "printed.json", "-o", "u.svg", "--dark")

    assert drawn.status == used.status == 0
    assert "7 steady stretches" in used.out
    assert (tmp_path / "u.svg").stat().st_size > 10_000


GAIN_64 = Converter(rate_hz=90.0, gain=64)
MISTAKES = {
    "pounds_as_kilograms": {"really": POUND_KG},
    "kilograms_as_pounds": {"masses": "0, 20 lb, 40 lb, 60 lb, 40 lb, 20 lb, 0"},
    "half": {"converter": GAIN_64},
    "double": {"input_": 3},
    "quarter": {"converter": Converter(rate_hz=90.0, gain=32)},
    "fourfold": {"input_": 2},
    "newtons_as_kilograms": {"really": 1.0 / GRAVITY},
    "grams_as_kilograms": {"masses": "0, 20000 kg, 40000 kg, 60000 kg, 40000 kg, 20000 kg, 0"},
    "swapped_wires": {"cell": make_cell(rated_output_mv_v=-2.0)},
    "zero_not_returning": {"left_kg": 5.0},
    "near_rail": {"cell": make_cell(zero_mv_v=3.75)},
    "clips_below_capacity": {"cell": make_cell(zero_mv_v=2.2)},
    "noisy": {"converter": Converter(rate_hz=90.0, noise_nv=900.0)},
    "too_quiet": {"converter": Converter(rate_hz=90.0, noise_nv=5.0)},
    "slope_off_plate": {"cell": make_cell(rated_output_mv_v=1.5)},
}
NOT_SERIOUS = {"swapped_wires", "clips_below_capacity", "noisy"}


@pytest.mark.parametrize("code", MISTAKES)
def test_each_mistake_injected_into_a_recording_is_named(
    breakyard: Breakyard, tmp_path: Path, code: str
) -> None:
    """A usual mistake, made on purpose, is named with what to check; status 1 when it is serious; still written."""
    made = dict(MISTAKES[code])
    really = made.pop("really", 1.0)
    masses_kg = [kg * really for kg in UP_AND_DOWN]
    masses_kg[-1] += made.pop("left_kg", 0.0)
    masses, input_ = made.pop("masses", MASSES), made.pop("input_", 1)
    write_run(tmp_path / "cal.run", hung(masses_kg, **made), input_=input_)

    said = breakyard("calibrate", "cal.run", "--masses", masses, *PLATE, *PLACE, "--json", "--write-anyway")

    assert code in codes(said)
    assert said.status == (0 if code in NOT_SERIOUS else 1)
    message = next(finding["message"] for finding in said.document["findings"] if finding["code"] == code)
    assert any(word in message for word in ("check", "use a lower gain", "use gain 64"))
    kept = Calibration.from_json((tmp_path / "cal.calibration.json").read_text())
    assert (code in kept.flags) == (code not in NOT_SERIOUS)


def test_strict_writes_nothing_when_it_is_serious(breakyard: Breakyard, tmp_path: Path) -> None:
    """--strict leaves no file behind; the finding is printed for people with its name."""
    write_run(tmp_path / "cal.run", hung([kg * POUND_KG for kg in UP_AND_DOWN]))

    said = breakyard("calibrate", "cal.run", "--masses", MASSES, *PLATE, *PLACE, "--strict")

    assert said.status == 1
    assert "SERIOUS (pounds_as_kilograms)" in said.out
    assert "not written" in said.out
    assert not (tmp_path / "cal.calibration.json").exists()


def test_a_slope_that_moved_since_the_last_calibration_is_named(breakyard: Breakyard, tmp_path: Path) -> None:
    """In a session the latest calibration is compared with; 1 % more output is named, the same cell again is not."""
    (tmp_path / "yard/runs").mkdir(parents=True)
    (tmp_path / "yard/session.toml").write_text(
        'place = "slip"\nlatitude_deg = 54.0\nheight_m = 0\nunit = "kgf"\n'
    )
    for name, output in (("spring", 2.0), ("same", 2.0), ("moved", 2.02)):
        write_run(tmp_path / f"yard/runs/{name}.run", hung(cell=make_cell(rated_output_mv_v=output)))
    words = ("--masses", MASSES, *PLATE, "--mass-limit", "0.05", "--json")

    first = breakyard("calibrate", "yard/runs/spring.run", *words)
    same = breakyard("calibrate", "yard/runs/same.run", *words)
    moved = breakyard("calibrate", "yard/runs/moved.run", *words, "--previous", "spring")

    assert (first.status, same.status, moved.status) == (0, 0, 1)
    assert first.document["compared_with"] is None
    assert same.document["compared_with"]["name"] == "spring"
    assert codes(moved) == ["slope_moved"]
    assert "spring" in moved.document["findings"][0]["message"]


def test_a_wrong_mass_is_named_shown_and_left_in(breakyard: Breakyard, tmp_path: Path) -> None:
    """One mass stated wrongly: the point is named, marked in the table and in both pictures, and kept."""
    write_run(tmp_path / "cal.run", hung())

    said = breakyard(
        "calibrate", "cal.run", "--masses", "0, 20 kg, 40 kg, 60 kg, 45 kg, 20 kg, 0", *PLATE, *PLACE,
        "--unit", "kgf", "--picture", "c.svg", "--recording-picture", "r.png", "--write-anyway",
    )  # fmt: skip

    marked = [line for line in said.out.splitlines() if line.rstrip().endswith("does not fit the others")]
    assert len(marked) == 1
    assert "45 kg" in marked[0]
    assert 'Point 5, "45 kg"' in " ".join(said.out.split())
    assert len(Calibration.from_json((tmp_path / "cal.calibration.json").read_text()).points) == 7
    assert "<svg" in (tmp_path / "c.svg").read_text()
    assert (tmp_path / "r.png").read_bytes().startswith(b"\x89PNG")


def test_points_from_a_table_equal_the_recording_they_were_read_from(
    breakyard: Breakyard, tmp_path: Path
) -> None:
    """The same counts by hand give the same line; masses in the header's unit or in words, either dialect."""
    write_run(tmp_path / "cal.run", hung())
    whole = breakyard("calibrate", "cal.run", "--masses", MASSES, *PLATE, *PLACE, "--json").document
    counts = [point["counts"] for point in whole["points"]]
    rows = [f"{kg:g};{c:.3f}".replace(".", ",") for kg, c in zip(UP_AND_DOWN, counts, strict=True)]
    (tmp_path / "a.csv").write_text("Mass [kg];Counts\n" + "\n".join(rows) + "\n")
    rows = [f'"{kg:g} kg",{c:.3f}' for kg, c in zip(UP_AND_DOWN, counts, strict=True)]
    (tmp_path / "b.csv").write_text("hung,counts\n" + "\n".join(rows) + "\n")

    slope = whole["derived"]["slope_n_per_count"]
    for name in ("a", "b"):
        said = breakyard("calibrate", "--points", f"{name}.csv", *PLATE, *PLACE, "--json")
        assert said.status == 0
        assert said.document["derived"]["slope_n_per_count"] == pytest.approx(slope, rel=2e-5)
        assert said.document["gain"] == 128


def test_forces_of_a_reference_in_a_table(breakyard: Breakyard, tmp_path: Path) -> None:
    """A certified reference: its k = 2 uncertainty comes out as the interval at the highest force, and not less."""
    per = counts_per_mv_v(128) * 2.0 / CAPACITY_KGF
    rows = [f"{kgf},{kgf * per:.1f},0.1" for kgf in (0, 400, 800, 1200, 800, 400, 0)]
    (tmp_path / "p.csv").write_text("Force [kgf],Counts,Uncertainty [%]\n" + "\n".join(rows))

    said = breakyard("calibrate", "--points", "p.csv", *PLATE, "--json")

    made = Calibration.from_json(said.document)
    interval = made.interval(1200 * per, 0.0)
    assert interval.load_n == pytest.approx(1200 * KGF, rel=1e-6)
    assert 0.00095 < (interval.high_n - interval.load_n) / interval.load_n < 0.0013


def test_a_second_calibrated_cell_in_the_line(breakyard: Breakyard, tmp_path: Path) -> None:
    """Both cells carry the same steps; the new one agrees with the truth within its interval at 1200 kgf."""
    loads = [0.0, 300.0, 600.0, 1000.0, 600.0, 300.0, 0.0]
    other = make_cell(rated_output_mv_v=2.0)
    write_run(tmp_path / "known.run", hung(loads, cell=other, seed=3))
    write_run(
        tmp_path / "new.run", hung(loads, cell=make_cell(rated_output_mv_v=2.1, zero_mv_v=-0.01), seed=3)
    )
    per = counts_per_mv_v(128) * 2.0 / CAPACITY_KGF
    rows = [f"{kgf},{kgf * per:.1f},0.1" for kgf in (0, 400, 800, 1200, 800, 400, 0)]
    (tmp_path / "p.csv").write_text("Force [kgf],Counts,Uncertainty [%]\n" + "\n".join(rows))
    breakyard("calibrate", "--points", "p.csv", *PLATE, "-o", "reference.json")

    said = breakyard(
        "calibrate", "new.run", "--transfer", "known.run", "--reference", "reference.json", *PLATE, "--json"
    )

    made = Calibration.from_json(said.document)
    cell, scale = make_cell(rated_output_mv_v=2.1, zero_mv_v=-0.01), counts_per_mv_v(128)
    interval = made.interval(
        scale * float(cell.static_mv_v(1200 * KGF)), scale * float(cell.static_mv_v(0.0))
    )
    assert said.status == 0
    assert interval.low_n < 1200 * KGF < interval.high_n
    assert interval.high_n - interval.low_n < 0.004 * 1200 * KGF
    assert said.document["provenance"]["reference recording"] == "known.run"


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["cal.run", "--masses", "0, 20 kgf, 0"], 'load 2 of the sequence: "kgf" is a force'),
        (["cal.run", "--masses", "0, 200 N, 0"], 'load 2 of the sequence: "N" is a force'),
        (["cal.run", "--masses", "0, 20, 0"], "a number needs a unit"),
        (["cal.run", "--masses", "0, 20 kg, 0"], "3 loads were stated, but the recording shows 7 plateaus"),
        (["cal.run"], "say what hung, in order, with --masses"),
        ([], "give the recording of the known masses"),
        (["junk.run", "--masses", MASSES], "junk.run"),
        (["picture.png", "--masses", MASSES], "picture.png"),
        (["missing.run", "--masses", MASSES], "missing.run: there is no such file"),
        (["loads.csv", "--masses", MASSES], "holds loads, not counts"),
        (["--points", "cal.run"], "cal.run"),
        (["--points", "force.csv"], "Uncertainty"),
        (["--points", "kgf.csv"], 'kgf.csv, row 3: "kgf" is a force'),
        (["--points", "no.csv"], "no column is headed as counts"),
        (["--points", "bad.csv"], 'bad.csv, row 3: counts: "many" is not a number'),
        (["cal.run", "--points", "bad.csv"], "a way of its own"),
        (["cal.run", "--transfer", "cal.run"], "--transfer needs --reference"),
        (["cal.run", "--masses", MASSES, "--gain", "64"], "the recording says gain 128"),
        (["cal.run", "--masses", MASSES, "--rated-output", "2"], "add --capacity"),
        (["cal.run", "--masses", MASSES, "--capacity", "1000 kg"], "kgf"),
        (["cal.run", "--masses", MASSES, "--weather", "mild"], "12 C, 1013 hPa, 60 %"),
        (["cal.run", "--masses", MASSES, "--degree", "4"], "use auto, 1, 2 or 3"),
        (["cal.run", "--masses", MASSES, "--picture", "p.gif"], "p.gif"),
        (["cal.run", "--masses", MASSES, "--latitude", "5", "--gravity", "9.8"], "not both"),
    ],
)
def test_wrong_input_gets_one_clear_line(
    breakyard: Breakyard, tmp_path: Path, words: list[str], expected: str
) -> None:
    """Status 2, one line that says what and where, nothing written."""
    write_run(tmp_path / "cal.run", hung())
    (tmp_path / "junk.run").write_bytes(b"\0not a run\0")
    (tmp_path / "picture.png").write_bytes(b"\x89PNG\r\n\x1a\n\0\0\0")
    (tmp_path / "loads.csv").write_text("Time [s],Load [N]\n0,0\n1,2\n2,3\n")
    (tmp_path / "force.csv").write_text("Force [N],Counts\n0,1\n5,2\n")
    (tmp_path / "kgf.csv").write_text("Load,Counts\n0,1\n20 kgf,2\n")
    (tmp_path / "no.csv").write_text("Load,Volts\n0,1\n20 kg,2\n")
    (tmp_path / "bad.csv").write_text("Load,Counts\n0,1\n20 kg,many\n")
    before = sorted(path.name for path in tmp_path.rglob("*"))

    said = breakyard("calibrate", *words)

    assert said.status == 2
    assert expected in said.complaint
    assert said.out == "" or said.out.startswith("Understood:")
    assert sorted(path.name for path in tmp_path.rglob("*")) == before


def test_drawn_intervals_agree(breakyard: Breakyard, tmp_path: Path) -> None:
    """--monte-carlo gives the same widths by another way, and says so beside them."""
    write_run(tmp_path / "cal.run", hung())
    words = ("cal.run", "--masses", MASSES, *PLATE, *PLACE, "--monte-carlo", "20000")
    said = breakyard("calibrate", *words, "--unit", "kgf")
    document = breakyard("calibrate", *words, "--name", "two", "--json").document

    assert "+-, kgf, drawn" in " ".join(said.out.split())
    made = Calibration.from_json(document)
    for drawn in document["monte_carlo"]:
        counts = made.counts_at(drawn["load_n"], made.zero_counts)
        interval = made.interval(counts, made.zero_counts)
        assert drawn["high_n"] - drawn["low_n"] == pytest.approx(interval.high_n - interval.low_n, rel=0.15)
    assert len(document["monte_carlo"]) == 4


def test_weather_and_materials_reach_the_force(breakyard: Breakyard, tmp_path: Path) -> None:
    """Water in heavy, cold air weighs less than in warm air by the buoyancy of its volume (OIML R 111, E.3)."""
    (tmp_path / "p.csv").write_text("Load,Counts\n0,0\n20 L water at 12 C,168000\n")
    loads = []
    for weather in ("-20 C, 1050 hPa, 30 %", "35 C, 950 hPa, 30 %"):
        said = breakyard(
            "calibrate", "--points", "p.csv", "--gravity", "9.81", "--weather", weather, "--json", "-o",
            f"{weather[:3]}.json",
        )  # fmt: skip
        loads.append(said.document["highest_known_n"])

    lighter = 0.020 * 9.81 * (1.4453 - 1.0664)
    assert loads[1] - loads[0] == pytest.approx(lighter, rel=0.02)


def test_a_silent_user_gets_wide_masses_no_class_and_the_way_out(
    breakyard: Breakyard, tmp_path: Path
) -> None:
    """Nothing said about the masses: 3 %, named as assumed; no class of a standard; how to know them better; where no
    plate was stated, what was taken without it. With weighed masses the interval is narrower."""
    write_run(tmp_path / "cal.run", hung())

    said = breakyard("calibrate", "cal.run", "--masses", MASSES, "--unit", "kgf")
    silent = breakyard("calibrate", "cal.run", "--masses", MASSES, "--name", "a", "--json").document
    weighed = breakyard(
        "calibrate", "cal.run", "--masses", MASSES, "--masses-known", "weighed", "--name", "b", "--json"
    ).document

    text = " ".join(said.out.split())
    assert "2. 20 kg = 20.000 kg +- 0.6 kg (3 %, assumed)" in text
    assert "masses are taken to be within 3 %" in text
    assert "weigh each on a good scale" in text
    assert "plate is unknown: a straight line is taken" in text
    assert "No class of a standard is named" in text
    assert "ISO 376 class" not in text
    assert silent["derived"]["quality"]["classes_withheld"] is True
    assert silent["loads_understood"][0] == "nothing: the empty hook"
    assert weighed["provenance"]["masses known by"] == "weighed"

    def half(document: dict) -> float:
        made = Calibration.from_json(document)
        shown = made.interval(made.counts_at(5000.0, made.zero_counts), made.zero_counts)
        return (shown.high_n - shown.low_n) / 2.0 / 5000.0

    assert half(silent) > 0.027
    assert 0.009 < half(weighed) < 0.014


def test_points_that_make_no_line_are_not_written_unasked(breakyard: Breakyard, tmp_path: Path) -> None:
    """0.20 kg typed for 20 kg is shown as understood, found, and not written without --write-anyway."""
    write_run(tmp_path / "cal.run", hung((0.0, 20.0, 40.0)))
    words = ("calibrate", "cal.run", "--masses", "0; 0,20 kg; 40 kg", "--name", "two")

    refused = breakyard(*words)
    ambiguous = breakyard("calibrate", "cal.run", "--masses", "0,20kg,40kg")
    consented = breakyard(*words, "--write-anyway")

    assert refused.status == consented.status == 1
    assert "2. 0,20 kg = 0.200 kg" in refused.out
    assert "SERIOUS (poor_fit)" in refused.out
    assert "not written" in refused.out
    assert "No usual mistake" not in refused.out
    assert "written: two.calibration.json" in consented.out
    assert ambiguous.status == 2
    assert "two ways" in ambiguous.complaint


def test_in_a_terminal_masses_and_plate_are_asked_for(
    breakyard: Breakyard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was not stated is asked, wrong answers again; empty answers take the wide default; options are not asked."""
    write_run(tmp_path / "cal.run", hung())
    answers = iter(["guessed", "weighed", "0,1", "2000 kg", "2000 kgf", "2"])
    asked: list[str] = []

    def prompt(question: str, default: str = "", **_: object) -> str:
        asked.append(question)
        return next(answers, default)

    monkeypatch.setattr("breakyard.cli.asking.somebody", lambda as_json: not as_json)
    monkeypatch.setattr("typer.prompt", prompt)

    said = breakyard("calibrate", "cal.run", "--masses", MASSES)
    made = Calibration.from_json((tmp_path / "cal.calibration.json").read_text())
    empty = breakyard("calibrate", "cal.run", "--masses", MASSES, "--name", "empty")
    number = len(asked)
    breakyard("calibrate", "cal.run", "--masses", MASSES, *PLATE, *PLACE, "--name", "stated")

    assert said.status == empty.status == 0
    assert made.plate is not None
    assert made.plate.rated_output_mv_v == 2.0
    assert dict(made.provenance)["masses known by"] == "weighed"
    assert "+- 0.02 kg (0.1 %)" in said.out
    assert "(3 %, assumed)" in empty.out
    assert len(asked) == number == 8
