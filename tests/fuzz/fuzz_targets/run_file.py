"""Run files: whatever bytes, the runs come out in order of time, with an account of what is missing; or one error."""

import numpy as np

from breakyard.errors import DataError
from breakyard.run import read_runs
from breakyard.wire.layout import RAIL_HIGH, RAIL_LOW
from fuzz_targets.feeding import data_of, stream_of, vectors

MAX_LEN = 800


def seeds():
    return [data_of(bytes.fromhex(case["bytes"])) for case in vectors("streams")]


def try_one(data):
    stream = stream_of(data)
    try:
        runs = read_runs(stream, name="x")
    except DataError as error:
        assert "\n" not in str(error)
        return
    assert sum(len(run.counts) for run in runs) <= len(stream) // 5
    for run in runs:
        assert run.number > 0
        assert run.counts.shape == run.time_s.shape == run.quality.shape
        assert np.isfinite(run.time_s).all()
        assert (np.diff(run.time_s) > 0).all()
        if len(run.counts):
            assert run.counts.min() >= RAIL_LOW
            assert run.counts.max() <= RAIL_HIGH
        assert not (run.usable & run.clipped).any()
        assert run.loss.missing_samples >= 0
        assert not run.loss.complete or (run.end is not None and not run.loss.missing_records)
        for gap in run.gaps:
            assert gap.missing > 0
            assert gap.end_s >= gap.start_s
        for first, last in run.loss.missing_records:
            assert 0 <= first <= last
