"""How many processes read a session."""

from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest

from breakyard.session import reading
from breakyard.session.options import ReadOptions
from breakyard.session.pulls import Pull


class Pool:
    """As the standard library's under Windows, which waits for at most 61 processes at once; nothing is begun."""

    asked: int = 0

    def __init__(self, max_workers: int, **_: Any) -> None:
        if max_workers > 61:
            raise ValueError("max_workers must be <= 61")
        Pool.asked = max_workers

    def submit(self, act: Any, *words: Any) -> "Future[Any]":
        done: Future[Any] = Future()
        done.set_result(act(*words))
        return done

    def shutdown(self, **_: Any) -> None:
        pass


def test_a_large_computer_under_windows(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """128 cores and 100 pulls: 61 processes and no more (concurrent.futures, "max_workers")."""
    monkeypatch.setattr(reading, "ProcessPoolExecutor", Pool)
    monkeypatch.setattr("os.cpu_count", lambda: 128)
    pulls = [Pull(f"P{at}", tmp_path / f"P{at}.run", None) for at in range(100)]

    results = reading.read_pulls(pulls, ReadOptions(), processes=None)

    assert Pool.asked == 61
    assert len(results) == 100
    assert all(result.problem for result in results)
