"""Parquet and archives: read by others as they are, and back again without loss."""

import datetime
import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.errors import DataError, UsageError
from breakyard.formats import archive as archive_format
from breakyard.formats.archive import ArchivedFile, ArchivedPull, read_files, sessions_in, write_session
from breakyard.formats.read_parquet import read_curve, read_summaries
from breakyard.formats.write_json import curve_json
from breakyard.formats.write_parquet import SAMPLE_COLUMNS, SUMMARY_COLUMNS, curve_parquet, summaries_parquet
from breakyard.pull.results import Summary
from breakyard.pull.summarize import summarize
from breakyard.session.archiving import Restored, restore

pa = pytest.importorskip("pyarrow")
pq = pytest.importorskip("pyarrow.parquet")


@pytest.fixture(scope="module")
def curve() -> LoadCurve:
    """A pull of 3000 N at 80/s with an extension, a gap and a sample that is no number."""
    time = np.delete(np.arange(0.0, 15.0, 0.0125), slice(200, 212))
    load = np.clip((time - 3.0) * 300.0, 0.0, 3000.0) * (time < 14.0)
    load = load + np.random.default_rng(3).normal(0.0, 0.5, time.size)
    load[100] = np.nan
    return curve_from_columns(time, load, name="S1", accuracy=0.002, extension_m=time * 1e-3)


@pytest.fixture(scope="module")
def summary(curve: LoadCurve) -> Summary:
    """What is known of it."""
    return summarize(curve)


def test_a_curve_comes_back(curve: LoadCurve) -> None:
    """Same times, loads above the zero that was subtracted, usable samples, gaps; units in the metadata."""
    data = curve_parquet(curve, zero_n=2.5)

    back = read_curve(data)
    schema = pq.read_schema(io.BytesIO(data))

    assert back.name == curve.name
    np.testing.assert_array_equal(back.time_s, curve.time_s)
    np.testing.assert_array_equal(back.load_n, curve.load_n - 2.5)
    np.testing.assert_array_equal(back.usable, curve.usable)
    np.testing.assert_array_equal(back.extension_m, curve.extension_m)
    assert back.gaps == curve.gaps
    assert back.counts is None
    assert not back.load_n.flags.writeable
    assert schema.field("load_n").metadata[b"unit"] == b"N"


def test_summaries_come_back(summary: Summary) -> None:
    """Whole, with people's columns before them; columns keep their types also where nothing is known."""
    data = summaries_parquet([summary, summary], more={"specimen": ["A", "B"]})

    table = pq.read_table(io.BytesIO(data))

    assert read_summaries(data) == (summary, summary)
    assert table.column_names == ["specimen", *(name for name, _, _ in SUMMARY_COLUMNS)]
    assert table.column("peak_n").to_pylist() == [summary.peak.estimate_n] * 2
    assert str(table.schema.field("run_number").type) == "int64"
    assert table.column("run_number").null_count == 2


def test_json_holds_the_same_curve(curve: LoadCurve) -> None:
    """Columns of numbers that read back exactly."""
    document = json.loads(curve_json(curve, zero_n=2.5))

    assert document["schema"] == "breakyard.curve/1"
    np.testing.assert_array_equal(document["time_s"], curve.time_s)
    np.testing.assert_array_equal(document["load_n"], curve.load_n - 2.5)
    assert document["counts"] is None


@pytest.mark.parametrize(
    ("data", "wanted"),
    [(b"", "cannot be read as Parquet"), (b"PAR1 and then nothing PAR1", "cannot be read as Parquet")],
)
def test_what_is_no_parquet_is_told(data: bytes, wanted: str) -> None:
    """One line that names the file."""
    with pytest.raises(DataError, match=f"x.parquet: .*{wanted}"):
        read_curve(data, where="x.parquet")


def test_one_kind_is_not_taken_for_another(curve: LoadCurve, summary: Summary) -> None:
    """A table of summaries is no curve, and a foreign file is neither."""
    foreign = io.BytesIO()
    pq.write_table(pa.table({"time_s": [1.0]}), foreign)

    with pytest.raises(DataError, match=r"does not hold breakyard.curve/1"):
        read_curve(summaries_parquet([summary]))
    with pytest.raises(DataError, match=r"does not hold breakyard.summaries/1"):
        read_summaries(foreign.getvalue())


def test_without_the_package_it_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, curve: LoadCurve
) -> None:
    """pyarrow is optional."""
    import sys

    monkeypatch.setitem(sys.modules, "pyarrow", None)

    with pytest.raises(UsageError, match=r"pip install 'breakyard\[parquet\]'"):
        curve_parquet(curve)


FILES = (ArchivedFile("session.toml", b'unit = "N"\n'), ArchivedFile("runs/S1.run", bytes(range(256)) * 40))


@pytest.fixture
def archive(tmp_path: Path, curve: LoadCurve, summary: Summary) -> Path:
    """Two sessions, one with a name that needs care; one pull without a summary."""
    good = ArchivedPull("S1", curve, summary, "S1", "screwed", 1, 0.25, "held")
    bad = ArchivedPull("S2", None, None, "S2", "screwed", problem="no pull")
    date = datetime.date(2026, 5, 3)
    write_session(tmp_path / "all", "2026-05-03 Werft/ü=1", [good, bad], FILES, place="yard", date=date)
    write_session(tmp_path / "all", "2026-05-04", [good], FILES[:1])
    return tmp_path / "all"


def test_other_programs_read_an_archive_as_it_is(archive: Path, curve: LoadCurve) -> None:
    """DuckDB, pyarrow and pandas see one table of pulls and one of samples, with the session as a column."""
    duckdb: Any = pytest.importorskip("duckdb")
    dataset: Any = pytest.importorskip("pyarrow.dataset")
    import pandas as pd

    table = f"read_parquet('{archive}/pulls/*/*.parquet', hive_partitioning = true)"
    rows = duckdb.sql(
        f"select session::varchar, run, at_least, mass_kg from {table} order by 1, 2"
    ).fetchall()
    samples = dataset.dataset(archive / "samples", partitioning="hive", format="parquet")
    frame = pd.read_parquet(archive / "pulls")

    assert rows == [
        ("2026-05-03 Werft/ü=1", "S1", False, 0.25),
        ("2026-05-03 Werft/ü=1", "S2", None, None),
        ("2026-05-04", "S1", False, 0.25),
    ]
    assert samples.count_rows() == 2 * len(curve.time_s)
    assert set(samples.schema.names) == {"session", "run", *(name for name, _, _ in SAMPLE_COLUMNS)}
    assert len(frame) == 3
    assert frame["session_date"].iloc[0] == datetime.date(2026, 5, 3)


def test_an_archive_is_replaced_session_by_session(archive: Path, curve: LoadCurve, summary: Summary) -> None:
    """Adding a session of the same name replaces it and leaves the others alone; nothing half-written stays."""
    write_session(archive, "2026-05-04", [ArchivedPull("S9", curve, summary)], FILES)

    assert sessions_in(archive) == ("2026-05-03 Werft/ü=1", "2026-05-04")
    table = pq.read_table(archive / "pulls" / "session=2026-05-04" / "part-0.parquet", partitioning=None)
    assert table.column("run").to_pylist() == ["S9"]
    assert sorted(path.name for path in archive.iterdir()) == ["README.md", "files", "pulls", "samples"]


def test_a_failed_write_leaves_the_old_session(archive: Path, curve: LoadCurve, summary: Summary) -> None:
    """An error half-way (here: in the second pull) changes nothing."""

    def pulls() -> Any:
        yield ArchivedPull("S1", curve, summary)
        raise DataError("the disk is gone")

    before = (archive / "samples" / "session=2026-05-04" / "part-0.parquet").read_bytes()
    with pytest.raises(DataError, match="the disk is gone"):
        write_session(archive, "2026-05-04", pulls(), FILES)

    assert (archive / "samples" / "session=2026-05-04" / "part-0.parquet").read_bytes() == before
    assert tuple(read_files(archive, "2026-05-04")) == FILES[:1]


def test_files_come_back_byte_for_byte_or_not_at_all(
    tmp_path: Path, summary: Summary, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The hash that was kept is checked; a path that leads out of the folder is refused."""
    write_session(tmp_path / "good", "yard", [], FILES)
    for at, path in enumerate(("../x", "/etc/x", "a/../../x", "C:x", "a\\..\\x")):
        with monkeypatch.context() as careless:  # an archive that somebody else wrote
            careless.setattr(archive_format, "_leads_out", lambda path: False)
            write_session(tmp_path / f"bad{at}", "yard", [], [ArchivedFile(path, b"1")])
        with pytest.raises(DataError, match="leads out"):
            list(read_files(tmp_path / f"bad{at}", "yard"))

    assert tuple(read_files(tmp_path / "good", "yard")) == FILES
    part = tmp_path / "good" / "files" / "session=yard" / "part-0.parquet"
    table = pq.read_table(part, partitioning=None)
    changed = table.set_column(2, table.schema.field("content"), pa.array([b"other", FILES[1].content]))
    pq.write_table(changed, part)
    with pytest.raises(DataError, match=r"session.toml is damaged"):
        list(read_files(tmp_path / "good", "yard"))


def test_restoring_never_overwrites(tmp_path: Path) -> None:
    """Twice is as good as once; a file with other content stops it."""
    write_session(tmp_path / "all", "yard", [], FILES)

    first = restore(tmp_path / "all", tmp_path / "back")
    again = restore(tmp_path / "all", tmp_path / "back")
    (tmp_path / "back/yard/session.toml").write_bytes(b'unit = "kN"\n')

    assert first == again == {"yard": Restored(2, ())}
    assert (tmp_path / "back/yard/runs/S1.run").read_bytes() == FILES[1].content
    with pytest.raises(DataError, match="never overwritten"):
        restore(tmp_path / "all", tmp_path / "back")
    assert (tmp_path / "back/yard/session.toml").read_bytes() == b'unit = "kN"\n'
