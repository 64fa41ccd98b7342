"""Runs are read where numpy's own integers have 32 bits: Raspberry Pi OS 32 bit, WebAssembly.

Here numpy is only made to refuse what it refuses there. tests/on_32_bit.sh runs the tests in a real 32-bit Python.
"""

from typing import Any

import numpy as np
import pytest

from breakyard.run import read_run
from breakyard.wire.frame import frame
from breakyard.wire.records import PeakWindow, RunBegin, Samples, build


@pytest.fixture(autouse=True)
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    """numpy.repeat takes counts of at most 32 bits; whole numbers without a type of their own have as many."""
    repeat, cumsum = np.repeat, np.cumsum

    def narrow_repeat(values: Any, counts: Any, axis: int | None = None) -> Any:
        if isinstance(counts, np.ndarray) and not np.can_cast(counts.dtype, np.int32, "safe"):
            raise TypeError(
                f"Cannot cast array data from {counts.dtype!r} to dtype('int32') according to the rule 'safe'"
            )
        return repeat(values, counts, axis=axis)

    def narrow_cumsum(values: Any, axis: int | None = None, dtype: Any = None) -> Any:
        if dtype is None and np.asarray(values).dtype.kind in "bu" and np.asarray(values).itemsize < 4:
            dtype = np.int32
        return cumsum(values, axis=axis, dtype=dtype)

    monkeypatch.setattr(np, "intp", np.int32)
    monkeypatch.setattr(np, "repeat", narrow_repeat)
    monkeypatch.setattr(np, "cumsum", narrow_cumsum)


def records(*sizes: int, lost: int | None = None, window: bool = False) -> bytes:
    """A run whose records hold so many samples each."""
    begin = RunBegin(
        run=1, index=0, boot=2, cause=1, first_s=10, first_us=0, trigger_s=10, trigger_us=0, baseline_counts=0,
        rate_mhz=80_000, input=1, clock_device_s=0, clock_device_us=0, clock_utc_s=1_777_809_600, clock_utc_us=0,
        clock_uncertainty_us=4_000,
    )  # fmt: skip
    made, first = [build(begin)], 0
    for index, size in enumerate(sizes, start=1):
        common: dict[str, Any] = {
            "run": 1,
            "index": index,
            "first_sample": first,
            "first_s": 10 + first * 12_500 // 1_000_000,
            "first_us": first * 12_500 % 1_000_000,
            "counts": np.arange(first, first + size, dtype=np.int32),
            "step_us": np.array([0] + [12_500] * (size - 1)),
            "quality": np.zeros(size, np.uint8),
        }
        if index == lost and window:
            made.append(build(PeakWindow(rank=1, of=1, peak_sample=first, peak_counts=first, **common)))
        elif index != lost:
            made.append(build(Samples(**common)))
        first += size
    return b"".join(frame(record) for record in made)


@pytest.mark.parametrize(
    ("data", "number"),
    [
        (records(20, 20, 20), 60),
        (records(20, 7, 20, 3), 50),
        (records(20, 20, 20, lost=2), 40),
        (records(20, 20, 20, lost=2, window=True), 60),
        (records(20, 20, 20) + records(20, 20), 60),
    ],
    ids=["even", "uneven", "a record lost", "a peak window fills", "the same twice"],
)
def test_a_run_is_read(data: bytes, number: int) -> None:
    """Every way through the decoder and the merge."""
    run = read_run(data)

    assert len(run.counts) == number
    assert run.counts[-1] in (49, 59)
    assert run.time_s[-1] == pytest.approx(0.0125 * run.counts[-1])


def test_times_of_day_past_midnight() -> None:
    """A day in nanoseconds does not fit into 32 bits."""
    from breakyard.formats.clock import _past_midnight

    hour = 3_600_000_000_000
    found = _past_midnight(np.array([23 * hour, 1 * hour, 2 * hour], dtype=np.int64))

    assert (np.diff(found) == [2 * hour, hour]).all()
