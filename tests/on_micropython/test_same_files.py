"""The plain test files of tests/firmware, each in the real MicroPython interpreter."""

from pathlib import Path

import pytest

PLAIN = sorted(path.stem for path in (Path(__file__).parent.parent / "firmware").glob("test_*.py"))
FOLDERS = ("tests/firmware", "firmware", "firmware/virtual")


@pytest.mark.parametrize("name", PLAIN)
def test_in_the_interpreter(interpret, name):
    """Every test function of the file passes, and there is at least one."""
    done = interpret("tests/on_micropython/run.py", name, folders=FOLDERS)

    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("ok  ") >= 1


def test_a_failing_test_is_seen(interpret, tmp_path):
    """The runner itself: a wrong assertion, and a file without tests, are failures."""
    (tmp_path / "test_wrong.py").write_text("def test_wrong():\n    assert 1 == 2\n")
    (tmp_path / "test_empty.py").write_text("")

    for name in ("test_wrong", "test_empty"):
        done = interpret("tests/on_micropython/run.py", name, folders=(str(tmp_path),))
        assert done.returncode == 1, done.stdout + done.stderr
        assert "FAIL" in done.stdout
