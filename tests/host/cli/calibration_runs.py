"""Calibration recordings as run files, made from the simulator's conversions; what hung is the caller's business."""

import hashlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from breakyard.simulate.cell import Cell
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import Conversions, Converter
from breakyard.simulate.phases import Hold
from breakyard.simulate.pull import pull
from breakyard.simulate.releases import Hang
from breakyard.simulate.weights import normal_gravity
from breakyard.wire.frame import frame
from breakyard.wire.layout import (
    CLOCK_NEVER_SET,
    FIELDS,
    MAX_SAMPLES,
    SETTING_LIMITS,
    STEP_US,
    TYPE_SIZES,
    EndCause,
    Kind,
    Setting,
)
from breakyard.wire.records import Identity, RunBegin, RunEnd, Samples, Settings, build

CLASSES = {cls.KIND: cls for cls in (Identity, RunBegin, RunEnd, Samples, Settings)}

KGF = 9.80665
CAPACITY_KGF = 2000
LATITUDE = 54.0
GRAVITY = normal_gravity(LATITUDE)
UP_AND_DOWN = (0.0, 20.0, 40.0, 60.0, 40.0, 20.0, 0.0)
MASSES = "0, 20 kg, 40 kg, 60 kg, 40 kg, 20 kg, 0"
PLATE = ("--capacity", f"{CAPACITY_KGF} kgf", "--rated-output", "2", "--nonlinearity", "0.03")
PLACE = ("--latitude", str(LATITUDE), "--mass-limit", "0.05")
UTC_S = 1_777_809_600


def hung(
    masses_kg: Sequence[float] = UP_AND_DOWN,
    *,
    cell: Cell | None = None,
    converter: Converter | None = None,
    seed: int = 1,
) -> Conversions:
    """Masses hung one after another, swinging, with knocks; the first is what hangs at the beginning."""
    phases = [
        Hold(8.0),
        *(Hang(kg * GRAVITY, hold_s=12.0, swing_rad=0.05, bump_n=40.0) for kg in masses_kg[1:]),
    ]
    truth = pull(phases, seed=seed)  # type: ignore[arg-type]
    return measure(truth, cell or make_cell(), converter or Converter(rate_hz=90.0), seed=seed)


def make_cell(**changes: float) -> Cell:
    """2000 kgf, 2 mV/V, well within its ratings."""
    values = {"rated_output_mv_v": 2.0, "zero_mv_v": 0.02, "nonlinearity": 0.0003} | changes
    return Cell(capacity_n=CAPACITY_KGF * KGF, **values)


def write_run(
    path: Path, conversions: Conversions, *, input_: int = 1, serial: bytes = b"invented", utc_s: int = UTC_S
) -> Path:
    """Write a complete run as a logger would."""
    boot = 99
    micros = 100_000_000 + (conversions.time_s * 1e6 / STEP_US).round().astype(np.int64) * STEP_US
    records: list[bytes] = []

    def add(kind: Kind, **values: object) -> None:
        records.append(build_record(kind, len(records), values))

    add(
        Kind.RUN_BEGIN, boot=boot, cause=1, **seconds("first", micros[0]), **seconds("trigger", micros[0]),
        baseline_counts=0, rate_mhz=0, input=input_, clock_device_s=100, clock_device_us=0, clock_utc_s=utc_s,
        clock_utc_us=0,
        clock_uncertainty_us=5000 if utc_s else CLOCK_NEVER_SET,
    )  # fmt: skip
    add(Kind.IDENTITY, serial=serial, boot=boot, protocol=1, board="b", firmware="0.1", interpreter="i")
    defaults = {setting.name.lower(): SETTING_LIMITS[setting][1] for setting in Setting}
    add(Kind.SETTINGS, **defaults | {"input": input_})
    counts = conversions.counts.astype(np.int32)
    for at in range(0, len(counts), MAX_SAMPLES):
        part = slice(at, at + MAX_SAMPLES)
        step = np.diff(micros[part], prepend=micros[at]).astype(np.int32)
        add(
            Kind.SAMPLES, first_sample=at, **seconds("first", micros[at]), counts=counts[part], step_us=step,
            quality=np.zeros(len(step), np.uint8),
        )  # fmt: skip
    add(
        Kind.RUN_END, cause=EndCause.COMMAND, **seconds("end", micros[-1]), samples=len(counts), samples_not_stored=0,
        missed=0, clipped=0, doubtful=0, lowest_counts=int(counts.min()), highest_counts=int(counts.max()),
        peak_windows=0, sha256=hashlib.sha256(b"".join(records)).digest(),
    )  # fmt: skip
    path.write_bytes(b"".join(map(frame, records)))
    return path


def build_record(kind: Kind, index: int, values: dict[str, object]) -> bytes:
    """A record of run 1; fields that nobody names are nothing, so that a new field changes no test."""
    nothing = {"text": "", "samples": None} | dict.fromkeys(TYPE_SIZES, 0)
    nothing |= {name: bytes(size) for name, size in TYPE_SIZES.items() if name.startswith("bytes")}
    filled = {name: nothing[type_] for name, type_ in FIELDS[kind] if type_ != "samples"}
    return build(CLASSES[kind](run=1, index=index, **filled | values))


def seconds(name: str, micros: np.int64) -> dict[str, int]:
    """A device time as its two fields."""
    whole, part = divmod(int(micros), 1_000_000)
    return {f"{name}_s": whole, f"{name}_us": part}
