"""Strategies that draw any record there can be."""

import numpy as np
import pytest
from hypothesis import strategies as st

from breakyard.wire import records
from breakyard.wire.layout import (
    FIELDS,
    MAX_MEANS,
    MAX_SAMPLES,
    MAX_STEP,
    MAX_TEXT,
    MAX_US,
    MAX_WINDOW_SAMPLES,
    RAIL_HIGH,
    RAIL_LOW,
    STEP_US,
    Kind,
)

_CLASSES = {
    Kind.IDENTITY: records.Identity,
    Kind.SETTINGS: records.Settings,
    Kind.RUN_BEGIN: records.RunBegin,
    Kind.SAMPLES: records.Samples,
    Kind.MARK: records.Mark,
    Kind.PEAK_WINDOW: records.PeakWindow,
    Kind.RUN_END: records.RunEnd,
    Kind.STATUS: records.Status,
    Kind.COMMAND: records.CommandRecord,
    Kind.ANSWER: records.Answer,
    Kind.LOG: records.LogLine,
    Kind.CALIBRATION: records.CalibrationCopy,
    Kind.RECEIPT: records.Receipt,
    Kind.MEANS: records.Means,
    Kind.FILE: records.FileHead,
}
_TYPES = {
    "u8": st.integers(0, 255),
    "u16": st.integers(0, 65535),
    "u32": st.integers(0, 2**32 - 1),
    "f32": st.floats(width=32, allow_nan=False, allow_infinity=False),
    "i24": st.integers(RAIL_LOW, RAIL_HIGH),
    "bytes8": st.binary(min_size=8, max_size=8),
    "bytes32": st.binary(min_size=32, max_size=32),
    "text": st.text(st.characters(codec="utf-8"), max_size=MAX_TEXT).filter(
        lambda t: len(t.encode()) <= MAX_TEXT
    ),
    "rest": st.binary(max_size=240),
}
_HEADER = {"run": st.integers(0, 65535), "index": st.integers(0, 2**32 - 1), "version": st.integers(1, 255)}


@st.composite
def _blocks(draw, most):
    number = draw(st.integers(1, most))
    edge = st.sampled_from([RAIL_LOW, RAIL_LOW + 1, -65536, -256, -1, 0, 1, 255, 256, 65535, RAIL_HIGH])
    counts = draw(st.lists(edge | _TYPES["i24"], min_size=number, max_size=number))
    steps = draw(st.lists(st.integers(0, MAX_STEP), min_size=number - 1, max_size=number - 1))
    quality = draw(st.lists(st.integers(0, 7), min_size=number, max_size=number))
    return {
        "counts": np.array(counts, dtype=np.int32),
        "step_us": np.array([0, *steps], dtype=np.int32) * STEP_US,
        "quality": np.array(quality, dtype=np.uint8),
    }


@st.composite
def _means(draw):
    number = draw(st.integers(1, MAX_MEANS))
    lists = {
        "number": st.integers(1, MAX_STEP),
        "quality": st.integers(0, 7),
        "step_ms": st.integers(0, 65535),
        **dict.fromkeys(("mean", "lowest", "highest"), _TYPES["i24"]),
    }
    columns = {
        name: np.array(draw(st.lists(values, min_size=number, max_size=number)))
        for name, values in lists.items()
    }
    columns["step_ms"][0] = 0
    return columns


@st.composite
def _records(draw):
    kind = draw(st.sampled_from([*Kind, None]))
    header = {name: draw(strategy) for name, strategy in _HEADER.items()}
    if kind is None:
        return records.Unknown(
            **header, kind=draw(st.integers(max(Kind) + 1, 255)), payload=draw(st.binary(max_size=242))
        )
    values = dict(header)
    previous = ""
    for name, type_ in FIELDS[kind]:
        if type_ == "samples":
            values |= draw(_blocks(MAX_WINDOW_SAMPLES if kind is Kind.PEAK_WINDOW else MAX_SAMPLES))
        elif type_ == "means":
            values |= draw(_means())
        elif name == "scale_counts":
            values[name] = draw(st.integers(1, 2**32 - 1))
        elif name.endswith("_us") and previous == name[:-2] + "s":
            values[name] = draw(st.integers(0, MAX_US))
        else:
            values[name] = draw(_TYPES[type_])
        previous = name
    return _CLASSES[kind](**values)


@pytest.fixture(scope="session")
def any_record():
    """A strategy for records of every kind, unknown ones too."""
    return _records()


@pytest.fixture(scope="session")
def many_records():
    """A strategy for lists of records: short ones, so that many kinds meet."""
    return st.lists(_records(), min_size=1, max_size=6)
