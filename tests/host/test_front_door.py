"""The front door: what a person in a notebook types, works; and it costs nothing to open."""

import copy
import io
import pickle
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import breakyard as by
from breakyard import errors
from breakyard.device.link.ble import BleLink
from breakyard.formats.read_csv import parse_csv
from breakyard.run import run_from_columns
from breakyard.session.files.notes import RunNotes
from breakyard.session.files.specimens import Specimen

HUNG = [("0", 0), ("20 kg", 30_000), ("40 kg", 60_000), ("60 kg", 90_000)]


def table(unit: str = "kN", peak: float = 4.0) -> str:
    """Another instrument's recording: 3 s of nothing, 1 kN/s up to the peak, let go at once."""
    time = np.arange(0.0, 10.0, 0.01)
    load = np.where(time < 3.0, 0.0, time - 3.0) * (time < 3.0 + peak)
    noise = np.random.default_rng(2).normal(0.0, 0.002, time.size)
    rows = "\n".join(f"{t:.2f},{f:.5f}" for t, f in zip(time, load + noise, strict=True))
    return f"Time [s],Load [{unit}]\n{rows}\n"


def test_the_public_names_are_these() -> None:
    """Each loads, `dir` shows it, and a name that is not there is told with those that are."""
    assert by.__all__ == sorted(by.__all__)
    assert set(by.__all__) == set(by._HOMES)
    for name in by.__all__:
        assert getattr(by, name).__name__ == name
    assert {*by.__all__, "errors"} <= set(dir(by))
    with pytest.raises(AttributeError, match=r"sumarize.*summarize"):
        _ = by.sumarize


def test_importing_the_package_loads_nothing_heavy() -> None:
    """No numpy, no pandas, no asyncio, no rooms: names come when they are used."""
    code = (
        "import sys, breakyard; print(*sorted(m for m in sys.modules if '.' not in m or 'breakyard.' in m))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    loaded = done.stdout.split()

    assert [name for name in loaded if name.startswith("breakyard.")] == ["breakyard.version"]
    assert not {"numpy", "scipy", "pandas", "matplotlib", "asyncio", "bleak", "typer"} & set(loaded)


def test_paths_text_bytes_and_open_files_are_taken_alike(tmp_path: Path) -> None:
    path = tmp_path / "pull.csv"
    path.write_text(table())

    with path.open("rb") as binary, path.open() as text:
        ways = [by.read(str(path)), by.read(path), by.read(path.read_bytes()), by.read(binary), by.read(text)]
    loads = [way.to_frame("kN")["load_kN"].tolist() for way in ways]

    assert all(isinstance(way, by.LoadCurve) for way in ways)
    assert loads == loads[:1] * 5
    assert by.summarize(path) == by.summarize(str(path)) == by.summarize(ways[0])


@pytest.mark.parametrize(
    ("work", "says"),
    [
        (lambda: by.read("nothing.run"), "no such file"),
        (lambda: by.read(3), "not int"),
        (lambda: by.calibrate([(20, 30_000)]), "20 kg"),
        (lambda: by.calibrate("points.csv", rated_output_mv_v=2), "capacity"),
        (lambda: by.compare({"a": 410}), "list of loads"),
        (lambda: by.compare({"a": ["much"]}), "at least 412"),
        (lambda: by.compare([[1.0], [2.0]], per="mass"), "plain loads"),
        (lambda: by.plan_range("300..500 kgf"), "capacity"),
        (lambda: by.design(20, 0.1), "share"),
        (lambda: by.new_session("x", wind=3), "wind"),
        (lambda: by.Logger("pigeon").connect(), "pigeon"),
        (lambda: by.Logger().arm(), "connect"),
    ],
)
def test_a_mistake_is_named_with_what_to_give_instead(work: object, says: str) -> None:
    with pytest.raises(errors.BreakyardError, match=says):
        work()  # type: ignore[operator]


def test_errors_are_there_without_being_imported() -> None:
    """`by.errors.NoPull`, as the first thing that a fresh interpreter is asked for."""
    code = "import breakyard as by; print(by.errors.NoPull.__name__)"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)

    assert done.stdout.strip() == "NoPull"


def test_every_error_of_the_tree_can_be_had_from_errors() -> None:
    """The tree in the module's docstring, name by name; each is caught as the builtin beside it too."""
    names = [
        line.split()[0].split("(")[0]
        for line in (errors.__doc__ or "").splitlines()
        if line.startswith("    ")
    ]

    assert len(names) > 10
    for name in names:
        assert issubclass(getattr(errors, name), errors.BreakyardError)


@pytest.fixture
def yard(tmp_path: Path) -> by.Session:
    """Two groups of two, read from another instrument."""
    names = {"B1": ("bonded", 4.0), "B2": ("bonded", 4.2), "S1": ("screwed", 2.0), "S2": ("screwed", 2.2)}
    specimens = [Specimen(name, group=group) for name, (group, _) in names.items()]
    session = by.new_session(tmp_path / "yard", specimens=specimens, place="slipway", unit="kgf")
    for name, (_, peak) in names.items():
        data = table(peak=peak).encode()
        session.add_recording(name, data, parse_csv(data, name=name), specimen=name, accuracy=0.01)
    return session


def test_a_session_reads_itself(yard: by.Session) -> None:
    """Pulls, summaries, a table in the unit asked for, a comparison, pictures, the page."""
    table = yard.table("kN")
    comparison = yard.compare()

    assert [pull.name for pull in yard.pulls] == ["B1", "B2", "S1", "S2"]
    assert [summary.run.name for summary in yard.summaries()] == ["B1", "B2", "S1", "S2"]
    assert table["peak_kN"].tolist() == pytest.approx([4.0, 4.2, 2.0, 2.2], rel=0.02)
    assert table["group"].tolist() == ["bonded", "bonded", "screwed", "screwed"]
    assert [group.n for group in comparison.groups] == [2, 2]
    assert by.compare(yard) == by.compare(yard.root) == comparison
    assert yard.plot().png()[:4] == yard.plot("S1", view="break").png()[:4] == b"\x89PNG"
    assert "slipway" in yard.report().read_text("utf-8")


def test_a_pull_that_cannot_be_read_hides_no_other(yard: by.Session) -> None:
    """It is a row with its reason, and a warning where only summaries are wanted."""
    (yard.layout.runs / "Z.run").write_bytes(b"no run")
    yard.write_notes("Z", RunNotes(specimen="Z"))

    with pytest.warns(UserWarning, match="Z is left out"):
        summaries = yard.summaries()

    assert len(summaries) == 4
    assert [bool(problem) for problem in yard.table()["problem"]] == [False] * 4 + [True]


def test_what_is_shown_is_a_line(yard: by.Session) -> None:
    """`repr` is read by people: one line, short; results show themselves as tables, pictures as PNG."""
    calibration = by.calibrate(HUNG, capacity="1000 kgf", name="bench")
    summary = yard.summaries()[0]
    curve = yard.curve("B1")
    comparison = yard.compare()
    shown = [
        *(yard, yard.pulls[0], yard.results()[0], summary, curve, comparison, calibration, yard.plot()),
        *(by.Logger("usb:COM5"), by.at_least(3)),
    ]

    plan = by.plan_range("300..500 kgf", capacity="1 tf", rated_output_mv_v=2)
    rig = by.check_rig(
        {"expected": "400 kgf", "line": [{"length_m": 6, "material": "hmpe", "breaking": "90 kN"}]}
    )
    shown += [plan, rig, comparison.groups[0], comparison.pairs[0], calibration.points[0]]
    for value in shown:
        assert len(repr(value)) < 200
        assert "\n" not in repr(value)
    for value in (yard, summary, comparison, calibration, plan, rig):
        assert value._repr_html_().startswith("<table>")
    assert "in N</caption>" in comparison._repr_html_()
    for value in (
        yard.plot(),
        summary.plot(curve),
        calibration.plot(),
        comparison.plot(),
        plan.plot(),
        rig.plot(),
    ):
        assert value._repr_png_()[:4] == b"\x89PNG"
    assert curve._repr_png_()[:4] == b"\x89PNG"


def test_a_session_is_a_collection_of_pulls(yard: by.Session, tmp_path: Path) -> None:
    """Length, order, names and places as in any other; one without pulls is a session all the same."""
    assert len(yard) == 4
    assert list(yard) == list(yard.pulls)
    assert yard["S1"] == yard[2] == yard.pull("S1")
    assert "S1" in yard
    assert "S9" not in yard
    assert yard["S1"].summary() == yard.summary("S1") == by.summarize(yard["S1"])
    assert yard["S1"].plot(view="break").png()[:4] == b"\x89PNG"
    assert "B1" in yard.plot(["B1", "S1"]).alt
    assert "B2" not in yard.plot(["B1", "S1"]).alt
    assert by.new_session(tmp_path / "empty")
    with pytest.raises(errors.UsageError, match='no pull "S9"'):
        yard["S9"]
    with pytest.raises(errors.UsageError, match=r"session\.summaries"):
        by.summarize(yard)  # type: ignore[arg-type]


def test_equal_content_is_equal_and_survives_copies() -> None:
    """Runs and curves are compared by what their arrays hold; a changed sample is another curve."""
    first, second = by.read(io.StringIO(table())), by.read(io.StringIO(table()))
    assert isinstance(first, by.LoadCurve)
    assert isinstance(second, by.LoadCurve)
    run, again = (run_from_columns(np.arange(20) / 80, np.arange(20), name="bench") for _ in range(2))

    assert first == second == copy.deepcopy(first) == pickle.loads(pickle.dumps(first))
    assert first != replace(second, load_n=second.load_n + 1e-9)
    assert first != run
    assert run == again == copy.copy(run) == pickle.loads(pickle.dumps(run))
    assert len({run, again, first, second}) == 2
    for value in (by.summarize(first), by.calibrate(HUNG), by.compare([410, 395], [310, 330])):
        assert pickle.loads(pickle.dumps(value)) == copy.deepcopy(value) == value


def test_what_is_read_of_a_pull_is_looked_for_in_its_recording() -> None:
    """A run has no peak: the error says who reads one. Other names get the usual error."""
    curve = by.read(io.StringIO(table()))
    run = run_from_columns(np.arange(20) / 80, np.arange(20), name="bench")

    for value in (curve, run):
        with pytest.raises(AttributeError, match=r"has no attribute 'peak'; breakyard\.summarize"):
            _ = value.peak
        with pytest.raises(AttributeError, match=r"has no attribute 'counted'$"):
            _ = value.counted
    assert "20 samples" in run.plot().alt


def test_pandas_tables_are_read_as_files_are(yard: by.Session) -> None:
    """Recordings, points of a calibration and groups; also with time as the index."""
    time = np.arange(0.0, 10.0, 0.01)
    frame = pd.DataFrame({"time_s": time, "load_kN": np.clip(time - 3.0, 0.0, None) * (time < 7.0)})
    points = pd.DataFrame({"load": [text for text, _ in HUNG], "counts": [counts for _, counts in HUNG]})
    peaks = pd.DataFrame({"bonded": [410, 395, 402], "screwed": [310, 330, None]})

    assert by.read(frame) == by.read(frame.set_index("time_s")) == by.read(frame.to_csv(index=False).encode())
    assert by.summarize(frame).peak.estimate_n == pytest.approx(4000.0, rel=0.01)
    assert by.calibrate(points).coefficients == by.calibrate(HUNG).coefficients
    assert by.calibrate(dict(HUNG)).coefficients == by.calibrate(HUNG).coefficients
    assert by.compare(peaks, unit="kgf") == by.compare(
        {"bonded": [410, 395, 402], "screwed": [310, 330]}, unit="kgf"
    )
    strengths = yard.table("kN").groupby("group")["strength_kN"]
    assert [group.n for group in by.compare(dict(list(strengths)), unit="kN").groups] == [2, 2]


def test_groups_may_be_given_one_after_another(yard: by.Session) -> None:
    """As two samples are given to a test elsewhere; sessions, too."""
    assert by.compare([410, 395], [310, 330]) == by.compare([[410, 395], [310, 330]])
    assert by.compare(yard, str(yard.root)) == by.compare([yard, yard])
    with pytest.raises(errors.UnitError, match="kgf if you mean kgf"):
        by.compare([410, 395], [310, 330], unit="kg")


def test_a_picture_is_saved_as_its_name_says(tmp_path: Path) -> None:
    picture = by.read(io.StringIO(table())).plot(unit="kgf")

    assert picture.save(tmp_path / "pull.png").read_bytes()[:4] == b"\x89PNG"
    assert "<svg" in picture.save(tmp_path / "pull.svg").read_text("utf-8")
    with pytest.raises(errors.UsageError, match="png or"):
        picture.save(tmp_path / "pull.bmp")


def test_a_summary_from_a_file_asks_for_its_curve(yard: by.Session) -> None:
    """Kept results have no curve; the message says how to have the picture."""
    yard.summaries()
    kept = yard.summaries()[0]

    with pytest.raises(errors.UsageError, match=r"session\.plot"):
        kept.plot()
    assert kept.plot(yard.curve("B1")).png()


def test_plain_numbers_are_compared_in_their_unit() -> None:
    """A list of lists, a table of lists, texts with their unit, and bounds that say so."""
    named = by.compare({"A": [410, 395, 402], "B": [310, 325, 330]}, unit="kgf")
    listed = by.compare([[410, 395, 402], [310, 325, 330]], unit="kgf")
    written = by.compare({"A": ["410 kgf", "395kgf", 402], "B": [310, "325", 330]}, unit="kgf")
    bounded = by.compare({"A": [410, by.at_least(500)], "B": ["at least 310 kgf", ">= 325"]}, unit="kgf")

    assert named == listed == written
    assert named.groups[0].mean_n == pytest.approx(402.333333 * 9.80665)
    assert [group.at_least for group in bounded.groups] == [1, 2]


def test_a_group_without_loads_is_told() -> None:
    """Not left out without a word."""
    with pytest.raises(by.BreakyardError, match='group "screwed" has no loads'):
        by.compare({"bonded": [410, 395], "screwed": []}, unit="kgf")


def test_a_logger_without_and_with_async(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The firmware, run here: armed, watched, stopped, its run fetched; the sync form works beside a running loop."""
    import asyncio

    monkeypatch.setenv("BREAKYARD_KEYS", str(tmp_path / "keys.json"))

    async def in_a_notebook() -> tuple[str, int]:
        with by.Logger("virtual") as logger:  # a loop is running in this thread
            number = logger.arm(now=True)
            for live in logger.live():
                if live.samples > 3:
                    break
            assert live.recording
            assert logger.stop() == number
            (path,) = logger.fetch(number, into=tmp_path)
        return path.suffix, len(by.read(path).counts)

    async def without() -> str:
        async with by.AsyncLogger("virtual") as logger:
            await logger.arm()
            async for live in logger.live():
                return live.state
        return ""

    suffix, samples = asyncio.run(in_a_notebook())

    assert (suffix, samples > 3) == (".run", True)
    assert asyncio.run(without()) == "armed"


def test_looking_for_loggers_finds_what_is_near(monkeypatch: pytest.MonkeyPatch) -> None:
    """Radio and ports, each as the text that `Logger` takes; a computer without radio is no error."""
    from breakyard.device.link import ble, usb

    async def no_radio(seconds: float) -> tuple[BleLink, ...]:
        raise errors.LinkError("no radio")

    monkeypatch.setattr(ble, "find", no_radio)
    monkeypatch.setattr(usb, "find", lambda: (usb.Port("COM5", "maker"),))

    assert [found.link for found in by.Logger.find(0.2)] == ["usb:COM5"]
