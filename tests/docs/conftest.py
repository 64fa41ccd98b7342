"""The demo's session, made once for everything that the documents show."""

import subprocess
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def demo_session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its folder; tests that write work on a copy."""
    folder = tmp_path_factory.mktemp("demo") / "demo-session"
    subprocess.run(
        [sys.executable, "-m", "breakyard", "demo", "--folder", str(folder), "--json"],
        check=True,
        capture_output=True,
    )
    return folder


@pytest.fixture
def beside_the_demo(demo_session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with a copy of the demo's session in it."""
    import shutil

    shutil.copytree(demo_session, tmp_path / "demo-session")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BREAKYARD_KEYS", str(tmp_path / "keys.json"))
    return tmp_path
