"""Exports in every format, and sessions into an archive and back, through the commands themselves."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from breakyard.cli import export, import_
from breakyard.errors import UsageError
from breakyard.formats.read_csv import parse_csv
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session


def make_session(root: Path) -> Path:
    """Two imported pulls of 3000 N and 3300 N."""
    session = create_session(
        root, SessionInfo(place="yard (invented)"), [Specimen("A1", group="a", mass_kg=0.5)]
    )
    for at, (name, peak_n) in enumerate((("A1", 3000.0), ("A2", 3300.0))):
        time = np.arange(0.0, 17.0, 0.0125)
        load = np.clip((time - 3.0) * 300.0, 0.0, None)
        load[load > peak_n] = 0.0
        load += np.random.default_rng(at).normal(0.0, 0.5, time.size)
        rows = (f"{t:.4f},{f:.3f}" for t, f in zip(time, load, strict=True))
        data = ("Time [s],Load [N]\n" + "\n".join(rows)).encode()
        session.add_recording(name, data, parse_csv(data, name=name), specimen=name, accuracy=0.002)
    return root


def contents(root: Path) -> dict[str, bytes]:
    """All files of a session that cannot be computed again."""
    found = (path for path in root.rglob("*") if path.is_file() and "results" not in path.parts)
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in found}


def document(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """What was printed for programs."""
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


@pytest.mark.parametrize("form", list(export.Format))
def test_each_format_has_a_curve_per_pull_and_a_table(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], form: export.Format
) -> None:
    """CSV, JSON and Parquet alike."""
    if form is export.Format.PARQUET:
        pytest.importorskip("pyarrow")
    root = make_session(tmp_path / "yard")

    export.command([root], tmp_path / "out", form=form, as_json=True)

    names = {Path(path).name for path in document(capsys)["files"]}
    assert names == {f"A1.curve.{form}", f"A2.curve.{form}", f"summaries.{form}"}
    assert {path.name for path in (tmp_path / "out").iterdir()} == names


def test_sessions_go_into_an_archive_and_come_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Byte for byte, and what is computed from them is the same; one run stands for its whole session."""
    pytest.importorskip("pyarrow")
    root = make_session(tmp_path / "yard")

    export.command([root / "runs" / "A1.csv", root], tmp_path / "all", archive=True, as_json=True)
    archived = document(capsys)
    import_.command([tmp_path / "all"], session=tmp_path / "back", as_json=True)
    restored = document(capsys)

    assert archived["sessions"] == {"yard": 2}
    assert restored["sessions"] == {"yard": len(contents(root))}
    assert contents(tmp_path / "back" / "yard") == contents(root)


def test_wrong_use_is_told(tmp_path: Path) -> None:
    """A unit where newtons are fixed, a folder that is no archive, two sessions of one name."""
    pytest.importorskip("pyarrow")
    one, other = make_session(tmp_path / "yard"), make_session(tmp_path / "elsewhere" / "yard")

    with pytest.raises(UsageError, match="newtons"):
        export.command([one], tmp_path / "out", form=export.Format.JSON, unit="kN")
    with pytest.raises(UsageError, match="leave out --format json"):
        export.command([one], tmp_path / "out", form=export.Format.JSON, archive=True)
    with pytest.raises(UsageError, match='two sessions are called "yard"'):
        export.command([one, other], tmp_path / "out", archive=True)
    with pytest.raises(UsageError, match="no archive"):
        import_.command([one])


def test_a_photo_whose_name_not_every_system_takes_comes_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A backup is restored on any computer: under a name that each of them takes, and it is said which."""
    pytest.importorskip("pyarrow")
    root = make_session(tmp_path / "yard")
    (root / "photos").mkdir()
    strange = {"IMG 12:30.jpg": b"one", "IMG 12-30.jpg": b"two", "why?.jpg": b"three", "con .x": b"four"}
    for name, content in strange.items():
        (root / "photos" / name).write_bytes(content)
    export.command([root], tmp_path / "all", archive=True, as_json=True)
    capsys.readouterr()
    import_.command([tmp_path / "all"], session=tmp_path / "back", as_json=True)

    renamed = document(capsys)["renamed"]["yard"]
    back = contents(tmp_path / "back" / "yard")
    assert sorted(back.values()) == sorted(contents(root).values())
    assert set(renamed) == {"photos/IMG 12:30.jpg", "photos/why?.jpg", "photos/con .x"}
    assert all(back[now] == contents(root)[was] for was, now in renamed.items())
    assert not any(set(':?"*<>|\\') & set(name) for name in back)


def test_what_could_not_come_back_is_refused_at_once(tmp_path: Path) -> None:
    """Not when the backup is needed."""
    pytest.importorskip("pyarrow")
    root = make_session(tmp_path / "yard")
    (root / "C:x.jpg").write_bytes(b"one")
    with pytest.raises(UsageError, match="rename it first"):
        export.command([root], tmp_path / "all", archive=True, as_json=True)

    assert not list((tmp_path / "all").glob("*/session=*"))
