"""breakyard step, and what summarize makes of its answer."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from step_cuts import cuts_of

from breakyard.simulate import recipes
from breakyard.simulate.cell import Cell
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import Converter
from breakyard.simulate.pull import pull

from .calibration_runs import KGF, MASSES, PLACE, PLATE, hung, make_cell, write_run
from .conftest import Said

Breakyard = Callable[..., Said]


def fast_pull(cell: Cell) -> bytes:
    """A brittle pull to 800 kgf at 500 kgf/s through a filter of order 4."""
    steps = recipes.brittle(recipes.Rig(), peak_n=800 * KGF, rate_n_per_s=500 * KGF)
    conversions = measure(pull(steps, seed=3), cell, Converter(rate_hz=85.0, filter_order=4), seed=3)
    return write_run(Path("pull.run"), conversions).read_bytes()


@pytest.fixture
def yard(breakyard: Breakyard, tmp_path: Path) -> Path:
    """A pull of a calibrated logger, outside any session."""
    cell = make_cell()
    write_run(tmp_path / "masses.run", hung(cell=cell))
    breakyard("calibrate", "masses.run", "--masses", MASSES, *PLATE, *PLACE, "--output", "cal.json")
    fast_pull(cell)
    return tmp_path


def summary(breakyard: Breakyard, *options: str) -> dict[str, dict[str, object]]:
    said = breakyard("summarize", "pull.run", "-c", "cal.json", "--json", *options)
    assert said.status == 0, said.err
    return said.document  # type: ignore[no-any-return]


def test_a_measured_response_is_kept_and_used(breakyard: Breakyard, yard: Path) -> None:
    """Assumed before; measured, with its hash, after; "assumed" on demand; another logger's is not taken."""
    assert summary(breakyard)["filter"] == {"source": "assumed", "order": None, "response_hash": None}
    write_run(yard / "cuts.run", cuts_of(2, 4))
    write_run(yard / "other.run", cuts_of(5, 3), serial=b"another-")

    other = breakyard("step", "other.run", "--json")
    unchanged = summary(breakyard)
    said = breakyard("step", "cuts.run", "--picture", "step.png", "--json")
    after, aside = summary(breakyard), summary(breakyard, "--response", "assumed")

    assert (other.status, other.document["verdict"], other.document["order"]) == (0, "order", 3)
    assert unchanged["filter"]["source"] == "assumed"
    assert (said.status, said.document["verdict"], said.document["order"]) == (0, "order", 4)
    assert said.document["quality"]["found"] == 12
    assert (yard / "step.png").read_bytes()[:4] == b"\x89PNG"
    assert after["filter"] == {"source": "measured", "order": 4, "response_hash": said.document["hash"]}
    assert any("order 4, measured" in sentence for sentence in after["assumptions"])
    assert aside == unchanged
    assert after["peak"]["low_n"] < 800 * KGF < after["peak"]["high_n"]


def test_a_response_is_never_replaced_silently(breakyard: Breakyard, yard: Path) -> None:
    """The same again changes nothing; another one needs --replace."""
    write_run(yard / "cuts.run", cuts_of(2, 4))
    write_run(yard / "more.run", cuts_of(3, 4))
    file = yard / "responses" / f"{b'invented'.hex()}.json"

    breakyard("step", "cuts.run")
    first = file.read_bytes()
    again = breakyard("step", "cuts.run")
    refused = breakyard("step", "more.run")
    kept = file.read_bytes()
    replaced = breakyard("step", "more.run", "--replace")

    assert (again.status, refused.status, replaced.status) == (0, 2, 0)
    assert "--replace" in refused.complaint
    assert first == kept
    assert file.read_bytes() != first


def test_kept_results_are_made_again_when_a_response_comes(
    breakyard: Breakyard, yard: Path, tmp_path: Path
) -> None:
    """In a session the summary follows; a response from the session beside it counts too."""
    for name in ("indoors", "outing"):
        (tmp_path / name / "runs").mkdir(parents=True)
        (tmp_path / name / "session.toml").write_text("")
    (tmp_path / "outing/runs/pull.run").write_bytes((yard / "pull.run").read_bytes())
    (tmp_path / "outing/calibrations").mkdir()
    (tmp_path / "outing/calibrations/cal.json").write_bytes((yard / "cal.json").read_bytes())
    write_run(tmp_path / "indoors/runs/cuts.run", cuts_of(2, 4))
    kept = tmp_path / "outing/results/pull.summary.json"

    breakyard("summarize", "outing", "--json")
    before = json.loads(kept.read_text())
    breakyard("step", "indoors/runs/cuts.run")
    breakyard("summarize", "outing", "--json")
    after = json.loads(kept.read_text())

    assert (tmp_path / "indoors/responses" / f"{b'invented'.hex()}.json").exists()
    assert (before["filter"]["source"], after["filter"]["source"]) == ("assumed", "measured")
    assert before["made_from"] != after["made_from"]


def test_a_filter_of_another_kind_widens_the_peak_and_says_so(breakyard: Breakyard, yard: Path) -> None:
    """Order 2 is neither 3 nor 4: a flag, and an interval that is wider than the assumed one."""
    assumed = summary(breakyard)["peak"]
    write_run(yard / "cuts.run", cuts_of(4, 2))

    said = breakyard("step", "cuts.run")
    after = summary(breakyard)

    assert said.status == 0
    assert "order 2" in said.out
    assert "odd_filter" in after["flags"]
    assert after["filter"]["source"] == "measured"
    assert after["peak"]["high_n"] - after["peak"]["low_n"] > 1.2 * (assumed["high_n"] - assumed["low_n"])


def test_what_does_not_settle_it_is_not_kept(breakyard: Breakyard, yard: Path) -> None:
    """Too few cuts: status 1, a sentence, no file. No cut at all, or a foreign file: one line, status 2."""
    write_run(yard / "few.run", cuts_of(2, 4, number=4))
    (yard / "words.csv").write_text("not a recording\n")

    few = breakyard("step", "few.run")
    none = breakyard("step", "pull.run")
    foreign = breakyard("step", "words.csv")
    missing = breakyard("step", "nowhere.run")
    twice = breakyard("step", "few.run", "few.run")

    assert few.status == 1
    assert "too few" in few.out
    assert not (yard / "responses").exists()
    assert (none.status, foreign.status, missing.status, twice.status) == (2, 2, 2, 2)
    assert "no cut found" in none.complaint
    assert "twice" in twice.complaint
    assert foreign.complaint
    assert missing.complaint
