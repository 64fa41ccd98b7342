"""What a person says of a recording: where its zero is, what made its counts, that all of it is one specimen."""

from pathlib import Path

import numpy as np
import pytest
import typer
from analysis_cases import calibrated
from typer.testing import CliRunner

from breakyard.cli import import_
from breakyard.curve import curve_from_run
from breakyard.pull.summarize import summarize
from breakyard.run import run_from_columns
from breakyard.session.finding import find_pulls
from breakyard.session.options import ReadOptions
from breakyard.session.reading import PullResult, read_pulls
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
