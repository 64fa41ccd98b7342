"""What a person says of a recording: where its zero is, what made its counts, that all of it is one specimen."""

from pathlib import Path

import numpy as np
import pytest
import typer
from analysis_cases import calibrated
from click.testing import Result
from typer.testing import CliRunner

from breakyard.cli import import_
from breakyard.curve import curve_from_run
from breakyard.errors import BreakyardError
from breakyard.pull.results import Filter, Summary
from breakyard.pull.summarize import summarize
from breakyard.run import run_from_columns
from breakyard.session.converters import parse_converter
from breakyard.session.finding import find_pulls
from breakyard.session.options import ReadOptions
from breakyard.session.reading import PullResult, read_pulls
from breakyard.session.recordings import load_counts
from breakyard.simulate.families import family

TIME = np.arange(0.0, 20.0, 0.02)


def imported(folder: Path, load: np.ndarray, *options: str) -> Path:
    """A session with one recording of forces, imported as a user does."""
    table = folder / "pull.csv"
    rows = [f"{at:.2f},{value:.3f}" for at, value in zip(TIME, load, strict=True)]
    table.write_text("\n".join(["time_s,load_N", *rows]), encoding="utf-8")
    app = typer.Typer()
    app.command()(import_.command)
    done = CliRunner().invoke(
        app, [str(table), "--session", str(folder / "day"), "--accuracy", "0.1", *options]
    )
    assert done.exit_code == 0, done.output
    return folder / "day"


def read(session: Path) -> tuple[PullResult, ...]:
    """All pulls of the session."""
    return tuple(read_pulls(find_pulls([session]), ReadOptions()))


@pytest.mark.parametrize(("said", "peak"), [("instrument", 5000.0), ("start", 4900.0), ("end", 4960.0)])
def test_a_stated_zero_is_taken(tmp_path: Path, said: str, peak: float) -> None:
    """100 N before, 40 N after, 0 by the instrument: as the person says."""
    load = np.where(TIME < 12.0, np.interp(TIME, [0, 4, 12], [100.0, 100.0, 5000.0]), 40.0)

    (result,) = read(imported(tmp_path, load, "--zero", said))

    assert result.summary is not None
    assert result.summary.peak.largest_sample_n == pytest.approx(peak, abs=15.0)


def test_one_specimen_is_not_cut(tmp_path: Path) -> None:
    """Two loadings to nothing, said to be of one specimen, and not said."""
    load = np.interp(TIME, [0, 2, 4, 6, 11, 16, 16.02, 20], [0, 0, 2000, 0, 0, 3000, 0, 0])
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()

    assert len(read(imported(tmp_path / "a", load))) == 2
    assert len(read(imported(tmp_path / "b", load, "--one-specimen"))) == 1


def test_imported_counts_have_the_rails_and_the_filter_of_their_converter() -> None:
    """Off-scale counts, imported without a word: a lower bound, as for a run; a fast ramp is recovered."""
    for name, bound in ("clipped", "lower"), ("fast_brittle", "two-sided"):
        case = family(name, 5)
        run = run_from_columns(case.conversions.time_s, case.conversions.counts, name=name)
        summary = summarize(curve_from_run(run, calibrated(5, "good", case.cell)))

        assert summary.peak.bound == bound
        high = np.inf if summary.peak.high_n is None else summary.peak.high_n
        assert summary.peak.low_n <= case.truth.peak_n <= high


def test_an_error_of_ours_is_one_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An unexpected error names its pull; the others are read; nothing is lost in a traceback."""
    load = np.interp(TIME, [0, 2, 4, 4.02, 11, 16, 16.02, 20], [0, 0, 2000, 0, 0, 3000, 0, 0])
    session = imported(tmp_path, load)
    honest = summarize

    def broken(curve: object, **options: object) -> object:
        if str(getattr(curve, "name", "")).endswith("#1"):
            raise ZeroDivisionError("a defect")
        return honest(curve, **options)  # type: ignore[arg-type]

    monkeypatch.setattr("breakyard.pull.summarize.summarize", broken)

    first, second = read(session)

    assert first.summary is None
    assert "#1" in first.problem
    assert "ZeroDivisionError" in first.problem
    assert second.summary is not None


def test_notes_that_say_nonsense_are_refused(tmp_path: Path) -> None:
    """A zero that is nowhere is one clear line."""
    session = imported(tmp_path, np.interp(TIME, [0, 2, 12, 12.02, 20], [0, 0, 5000, 0, 0]))
    notes = session / "runs" / "pull.toml"
    notes.write_text('zero = "middle"\n' + notes.read_text(encoding="utf-8"), encoding="utf-8")

    (result,) = read(session)

    assert result.summary is None
    assert "instrument, start or end" in result.problem


LET_DOWN = np.interp(TIME, [0, 2, 4, 6, 11, 16, 16.02, 20], [0, 0, 2000, 0, 0, 3000, 0, 0])


def test_cycles_of_a_specimen_that_is_named_are_one_row(tmp_path: Path) -> None:
    """Let down slowly and loaded again: one row where the notes name one specimen, with both loadings in it."""
    (result,) = read(imported(tmp_path, LET_DOWN, "--specimen", "W1"))

    assert result.pull.name == "pull"
    assert result.summary is not None
    assert len(result.summary.cycles) == 2
    assert result.summary.peak.largest_sample_n == pytest.approx(3000.0, abs=15.0)


def test_specimens_that_broke_are_rows_even_where_one_is_named(tmp_path: Path) -> None:
    """What broke before the end was another specimen."""
    broke = np.interp(TIME, [0, 2, 4, 4.02, 11, 16, 16.02, 20], [0, 0, 2000, 0, 0, 3000, 0, 0])

    assert len(read(imported(tmp_path, broke, "--specimen", "W1"))) == 2


@pytest.mark.parametrize(
    ("protocol", "said"),
    [("1 x 0..2 kN, then break", ""), ("1 x 0..2 kg", "kgf"), ("some cycles", "10 x 20..300 kgf")],
)
def test_a_protocol_in_the_notes(tmp_path: Path, protocol: str, said: str) -> None:
    """What was meant makes one pull of it; what cannot be understood is that pull's one clear line."""
    session = imported(tmp_path, LET_DOWN)
    notes = session / "runs" / "pull.toml"
    notes.write_text(f'protocol = "{protocol}"\n' + notes.read_text(encoding="utf-8"), encoding="utf-8")

    (result,) = read(session)

    if said:
        assert result.summary is None
        assert "pull.toml" in result.problem
        assert said in result.problem
    else:
        assert result.summary is not None
        assert result.summary.protocol == protocol
        assert len(result.summary.cycles) == 2


@pytest.mark.parametrize(
    "readings",
    [
        "0 120 260 180 420 510 480 690 640 820 900 0 0",
        "0 0 200 450 800 1200 1500 1510 900 0 0 0 0",
        "20 100 300 600 1000 1300 1500 1510 1510 1510 1500 1490 1480",
    ],
)
def test_readings_typed_from_a_display_are_a_lower_bound(tmp_path: Path, readings: str) -> None:
    """Thirteen of them, five seconds apart: what lies between is not known, so the strength is "at least"."""
    loads = [float(reading) for reading in readings.split()]
    table = tmp_path / "typed.csv"
    rows = [f"{5 * i},{load:g}" for i, load in enumerate(loads)]
    table.write_text("\n".join(["time_s,load_kgf", *rows]), encoding="utf-8")
    app = typer.Typer()
    app.command()(import_.command)
    done = CliRunner().invoke(app, [str(table), "--session", str(tmp_path / "day"), "--accuracy", "1"])

    (result,) = read(tmp_path / "day")

    assert done.exit_code == 0, done.output
    assert result.summary is not None
    assert result.summary.strength.at_least
    assert result.summary.strength.low_n == pytest.approx(max(loads) * 9.80665, rel=0.04)
    assert result.summary.strength.low_n < max(loads) * 9.80665


def counted(folder: Path, counts: np.ndarray, *options: str) -> Result:
    """A recording of counts, imported with options into a session of its own."""
    folder.mkdir(exist_ok=True)
    rows = [f"{at:.3f},{count}" for at, count in zip(np.arange(len(counts)) / 50.0, counts, strict=True)]
    (folder / "pull.csv").write_text("\n".join(["time_s,counts", *rows]), encoding="utf-8")
    app = typer.Typer()
    app.command()(import_.command)
    return CliRunner().invoke(app, [str(folder / "pull.csv"), "--session", str(folder / "day"), *options])


COUNTS = np.rint(np.interp(TIME, [0, 4, 12, 12.02, 20], [0, 0, 30000, 0, 0])).astype(int)


def test_a_converter_by_its_parts_gives_rails_and_filter(tmp_path: Path) -> None:
    """Counts cut off at the stated full scale are a lower bound as those of a run are; they were the peak before."""
    case = family("fast_brittle", 5)
    calibration = calibrated(5, "good", case.cell)
    limit = int(0.6 * case.conversions.counts.max())
    cut = np.minimum(case.conversions.counts, limit)

    def peak(counts: np.ndarray, said: str) -> Summary:
        run = run_from_columns(case.conversions.time_s, counts, name="x", converter=parse_converter(said))
        return summarize(curve_from_run(run, calibration))

    seen = peak(cut, f"{limit} counts, sinc 4")
    whole = peak(case.conversions.counts, "24 bits, sinc 4")
    unknown = peak(case.conversions.counts, "24 bits, filter unknown")

    assert (seen.peak.bound, "clipped" in seen.flags) == ("lower", True)
    assert seen.peak.low_n <= case.truth.peak_n
    assert (whole.peak.bound, whole.filter) == ("two-sided", Filter("stated", 4))
    assert whole.peak.high_n is not None
    assert whole.peak.low_n <= case.truth.peak_n <= whole.peak.high_n
    assert unknown.filter == Filter("none")
    assert "filter_unknown" in unknown.flags
    assert "filter_unknown" not in whole.flags


@pytest.mark.parametrize(
    ("said", "low", "high", "order", "known"),
    [
        ("24 bits, 20 mV/V, sinc 3", -(2**23), 2**23 - 1, 3, True),
        ("12 bit unsigned; no filter", 0, 4095, 0, True),
        ("16-bit", -32768, 32767, None, False),
        ("+-500000 counts, filter unknown", -500000, 500000, None, False),
        ("24 bits,3,9 mV/V, none", -(2**23), 2**23 - 1, 0, True),
    ],
)
def test_what_may_be_said_of_a_converter(
    said: str, low: int, high: int, order: int | None, known: bool
) -> None:
    """Bits, full scale and filter, in any order of a data sheet's words."""
    found = parse_converter(said)

    assert found is not None
    assert (found.lowest, found.highest, found.filter_order, found.filter_known) == (low, high, order, known)


def test_a_converter_is_kept_and_told(tmp_path: Path) -> None:
    """In the notes, where `calibrate` finds its gain too; what is not said is named as unknown."""
    silent = counted(tmp_path / "a", COUNTS)
    said = counted(tmp_path / "b", COUNTS, "--converter", "16 bits, 20 mV/V, sinc 3")
    masses = counted(tmp_path / "c", COUNTS, "--converter", "hx711-64", "--calibration")

    assert "converter: unknown" in silent.output
    assert "counts from -32768 to 32767 (+-20 mV/V), filter sinc 3, as stated" in said.output
    kept = load_counts(tmp_path / "b/day/runs/pull.csv").converter
    assert kept == parse_converter("16 bits, 20 mV/V, sinc 3")
    assert masses.exit_code == 0, masses.output
    known = load_counts(tmp_path / "c/day/runs/pull.csv").converter
    assert known is not None
    assert known.gain == 64


@pytest.mark.parametrize(
    ("said", "complaint"),
    [
        ("adc", "is not understood"),
        ("sinc 3", "bits, or its full scale"),
        ("99 bits", "not sensible"),
        ("0 counts", "not sensible"),
        ("12 bits, sinc 3", "do not fit the converter"),
    ],
)
def test_a_converter_that_cannot_be_is_refused(tmp_path: Path, said: str, complaint: str) -> None:
    """Nothing is kept of a recording whose counts another converter must have made, or of words not understood."""
    done = counted(tmp_path / "a", COUNTS, "--converter", said)

    assert isinstance(done.exception, BreakyardError)
    assert complaint in str(done.exception)
    assert not list(tmp_path.glob("a/day/runs/*"))


def test_the_converter_is_asked_for_where_nothing_tells_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a terminal; a wrong answer is asked again, Enter alone leaves it unknown, a rail that tells asks nothing."""
    answers = iter(["what?", "16 bits, no filter", ""])
    monkeypatch.setattr("breakyard.cli.output.Output.can_ask", True)
    monkeypatch.setattr("typer.prompt", lambda *words, **more: next(answers))

    named = counted(tmp_path / "a", COUNTS)
    silent = counted(tmp_path / "b", COUNTS)
    told = counted(tmp_path / "c", np.where(COUNTS > 29000, 2**23 - 1, COUNTS))

    assert "no filter, as stated" in named.output
    assert "converter: unknown" in silent.output
    assert "HX711, gain 128, as the calibration or the largest count says" in told.output
    assert "\nconverter" not in (tmp_path / "b/day/runs/pull.toml").read_text(encoding="utf-8")
