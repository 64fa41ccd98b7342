"""Conditions of a pull, and one specimen in two sessions, as people write them."""

from pathlib import Path

import numpy as np
import pytest

from breakyard.errors import DataError, UsageError
from breakyard.formats.read_csv import parse_csv
from breakyard.session.comparing import compare_results
from breakyard.session.conditions import condition_of, parse_speed, with_conditions
from breakyard.session.factors import compare_by_factors, grouped_by
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.options import ReadOptions
from breakyard.session.session import Session, create_session


def day(
    root: Path, *specimens: Specimen, more: dict[str, object] | None = None, breaks: bool = True
) -> Session:
    """A session with a pull of each specimen: 300 N/s up to 3 kN and more, then gone or let down."""
    session = create_session(root, SessionInfo(more=more or {}), specimens)
    for at, one in enumerate(specimens):
        peak = 3000.0 + 40.0 * at
        end = [10.01, 14.0] if breaks else [20.0, 24.0]
        time = np.arange(0.0, end[-1], 0.02)
        load = np.interp(time, [0.0, 3.0, 10.0, *end], [0.0, 0.0, peak, 0.0, 0.0])
        load += 0.3 * np.random.default_rng(at).standard_normal(len(time))
        data = "time_s,load_N\n" + "\n".join(f"{t:.2f},{f:.3f}" for t, f in zip(time, load, strict=True))
        session.add_recording(
            one.id, data.encode(), parse_csv(data.encode(), name=one.id), specimen=one.id, accuracy=0.001
        )
    return session


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("temperature_C", ("temperature", "c")),
        ("Temperature [F]", ("temperature", "f")),
        ("misalignment_deg", ("misalignment", "deg")),
        ("pull_speed_mm_per_min", ("pull_speed", "mm min")),
        ("pull_speed", ("pull_speed", "")),
        ("layer_height_mm", None),
        ("temperature_of_the_nozzle_C", None),
    ],
)
def test_a_name_tells_condition_and_unit(name: str, told: tuple[str, str] | None) -> None:
    """What is no condition is people's own."""
    assert condition_of(name) == told


@pytest.mark.parametrize(
    ("columns", "wanted"),
    [
        ({"temperature_C": "12"}, (12.0, None, None)),
        ({"temperature_F": "50"}, (10.0, None, None)),
        ({"temperature_C": "-3,5"}, (-3.5, None, None)),
        ({"misalignment_deg": "1.5"}, (None, 1.5, None)),
        ({"pull_speed_mm_min": "300"}, (None, None, 0.005)),
        ({"pull_speed": "0.3 m/min"}, (None, None, 0.005)),
        ({"pull_speed": "5", "colour": "red"}, (None, None, 0.005)),
    ],
)
def test_columns_of_specimens_are_used(
    tmp_path: Path, columns: dict[str, str], wanted: tuple[float | None, ...]
) -> None:
    """With their units, decimal commas understood."""
    session = day(tmp_path / "day", Specimen("S1", more=columns))

    found = with_conditions(ReadOptions(), session.pulls[0])

    assert (found.temperature_c, found.misalignment_deg, found.pull_speed_m_per_s) == pytest.approx(wanted)


def test_what_is_said_nearest_to_the_pull_counts(tmp_path: Path) -> None:
    """session.toml, specimens.csv, the recording's notes, the command, in this order."""
    session = day(tmp_path / "day", Specimen("S1"), more={"temperature_C": 5.0})
    (pull,) = session.pulls
    assert with_conditions(ReadOptions(), pull).temperature_c == 5.0

    session.write_specimens([Specimen("S1", more={"temperature_C": "7"})])
    (pull,) = session.pulls
    assert with_conditions(ReadOptions(), pull).temperature_c == 7.0

    notes = session.layout.notes_file("S1")
    notes.write_text("temperature_C = 9\n" + notes.read_text(encoding="utf-8"), encoding="utf-8")
    assert with_conditions(ReadOptions(), pull).temperature_c == 9.0
    assert with_conditions(ReadOptions(temperature_c=11.0), pull).temperature_c == 11.0


def test_conditions_narrow_the_interval_and_renew_what_is_kept(tmp_path: Path) -> None:
    """An angle that is vouched for in the table gives another result than the one that was kept before."""
    session = day(tmp_path / "day", Specimen("S1"))
    (before,) = session.results()
    session.write_specimens([Specimen("S1", more={"misalignment_deg": "0"})])

    (after,) = session.results()

    assert before.summary is not None
    assert after.summary is not None
    assert not after.kept
    assert session.results()[0].kept
    wide, narrow = ((one.peak.high_n or 0.0) - one.peak.low_n for one in (before.summary, after.summary))
    assert narrow < 0.9 * wide


@pytest.mark.parametrize("cell", ["warm", "200", "1e5"])
def test_a_condition_that_cannot_be_is_one_clear_line(tmp_path: Path, cell: str) -> None:
    """It names file, specimen and column; the other pulls are read."""
    session = day(tmp_path / "day", Specimen("S1", more={"temperature_C": cell}), Specimen("S2"))

    first, second = session.results()

    assert first.summary is None
    assert "specimens.csv, S1, temperature_C" in first.problem
    assert second.summary is not None


@pytest.mark.parametrize("text", ["fast", "0", "-3", "5 mm/parsec", "1e9 m/s"])
def test_what_is_no_speed_is_refused(text: str) -> None:
    """With a form that is understood, or what is sensible."""
    with pytest.raises(UsageError, match=r"mm/s|sensible"):
        parse_speed(text)


def test_one_specimen_over_two_sessions_counts_once(tmp_path: Path) -> None:
    """Proof in June, broken in July: n = 1, with the break; the group is that of its first row."""
    june = day(tmp_path / "june", Specimen("S1", "bonded"), Specimen("S2", "bonded"), breaks=False)
    july = day(tmp_path / "july", Specimen("T7", "", more={"same_as": "june/S1"}), Specimen("T8", "bonded"))

    comparison = compare_results([*june.results(), *july.results()])

    (group,) = comparison.groups
    assert (group.n, group.at_least) == (3, 1)
    assert any("june/S1 was pulled 2 times and counts once" in note for note in comparison.notes)


def test_one_specimen_over_two_sessions_counts_once_by_factors(tmp_path: Path) -> None:
    """Runs of one name, a level that only its first row says, groups that differ: n = 1 all the same."""
    oak, ash = {"wood": "oak"}, {"wood": "ash"}
    june = day(
        tmp_path / "june", Specimen("S1", "new", more=oak), Specimen("S2", "new", more=ash), breaks=False
    )
    rows = [Specimen("S1", "weathered", more={"same_as": "june/S1", "wood": " "})]
    rows += [Specimen(f"T{at}", "new", more=oak if at % 2 else ash) for at in range(4)]
    july = day(tmp_path / "july", *rows)
    results = [*june.results(), *july.results()]

    found = compare_by_factors(results, by=["wood"])
    regrouped = compare_results(grouped_by(results, "wood"))

    counted = {one.name: (one.n, one.at_least) for one in found.combinations}
    assert counted == {"oak": (3, 0), "ash": (3, 1)}
    assert found.left_out == ()
    assert any("june/S1 was pulled 2 times and counts once" in note for note in found.notes)
    assert {group.name: group.n for group in regrouped.groups} == {"oak": 3, "ash": 3}


def test_a_session_that_was_not_given_is_not_asked(tmp_path: Path) -> None:
    """July alone: its specimen is one of its own, if it has a group there."""
    july = day(tmp_path / "july", Specimen("T7", "bonded", more={"same_as": "june/S1"}))

    assert compare_results(july.results()).groups[0].n == 1


@pytest.mark.parametrize(("to", "said"), [("S9", "no such specimen"), ("S2", "circle")])
def test_rows_that_lead_nowhere_are_named(tmp_path: Path, to: str, said: str) -> None:
    """An id that is not there, and two rows that name one another."""
    session = day(
        tmp_path / "day",
        Specimen("S1", "a", more={"same_as": to}),
        Specimen("S2", "a", more={"same_as": "day/S1"}),
    )

    with pytest.raises(DataError, match=said):
        compare_results(session.results())
