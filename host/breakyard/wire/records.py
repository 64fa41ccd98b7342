"""One frozen dataclass per record kind, named as in the table; `parse` and `build` convert from and to bytes.

Every record has a run number (0 outside a run), an index and the version its writer used. Units are in the
names; device times are whole seconds and microseconds since the logger started. Arrays are read-only.
"""

import zlib
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import UsageError
from breakyard.frozen import equal
from breakyard.wire.damage import DamagedRecord
from breakyard.wire.fields import MEAN_COLUMNS, Value, read_fields, write_fields
from breakyard.wire.layout import (
    CRC_SIZE,
    FIELDS,
    HEADER_SIZE,
    MAX_RECORD,
    MAX_SAMPLES,
    MAX_WINDOW_SAMPLES,
    MIN_RECORD,
    VERSION,
    Damage,
    Kind,
)

NOT_MEASURED: Final = -8388608
"""`temperature_cdeg` of a logger that cannot tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """What every record begins with."""

    run: int
    index: int
    version: int = VERSION


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _WithSamples(Header):
    """Arrays of shape (n,); step_us is the time since the previous sample. Equal when all content is."""

    counts: NDArray[np.int32]
    step_us: NDArray[np.int32]
    quality: NDArray[np.uint8]

    def __eq__(self, other: object) -> bool:
        return equal(self, other)

    def __hash__(self) -> int:
        return hash((self.run, self.index, self.counts.tobytes()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity(Header):
    KIND: ClassVar[Kind] = Kind.IDENTITY
    serial: bytes
    boot: int
    protocol: int
    board: str
    firmware: str
    interpreter: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings(Header):
    KIND: ClassVar[Kind] = Kind.SETTINGS
    threshold_counts: int
    trigger_samples: int
    pre_trigger_ms: int
    hang_ms: int
    input: int
    status_ms: int
    commit_ms: int
    capacity_counts: int = 0
    mean_ms: int = 0
    privacy: int = 0
    alarm_counts: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class RunBegin(Header):
    KIND: ClassVar[Kind] = Kind.RUN_BEGIN
    boot: int
    cause: int
    first_s: int
    first_us: int
    trigger_s: int
    trigger_us: int
    baseline_counts: int
    rate_mhz: int
    input: int
    clock_device_s: int
    clock_device_us: int
    clock_utc_s: int
    clock_utc_us: int
    clock_uncertainty_us: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Samples(_WithSamples):
    """step_us[0] is 0: the first sample has its time in first_s, first_us."""

    KIND: ClassVar[Kind] = Kind.SAMPLES
    first_sample: int
    first_s: int
    first_us: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark(Header):
    KIND: ClassVar[Kind] = Kind.MARK
    mark_s: int
    mark_us: int
    code: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PeakWindow(_WithSamples):
    KIND: ClassVar[Kind] = Kind.PEAK_WINDOW
    rank: int
    of: int
    peak_sample: int
    peak_counts: int
    first_sample: int
    first_s: int
    first_us: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RunEnd(Header):
    KIND: ClassVar[Kind] = Kind.RUN_END
    cause: int
    end_s: int
    end_us: int
    samples: int
    samples_not_stored: int
    missed: int
    clipped: int
    doubtful: int
    lowest_counts: int
    highest_counts: int
    peak_windows: int
    sha256: bytes
    overload: int = 0
    lowest_battery_mv: int = 0
    temperature_cdeg: int = NOT_MEASURED
    ring_high: int = 0
    free_memory: int = 0
    reset_cause: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Status(Header):
    KIND: ClassVar[Kind] = Kind.STATUS
    state: int
    now_s: int
    now_us: int
    counts: int
    extreme_counts: int
    quality: int
    samples: int
    records: int
    missed: int
    rate_mhz: int
    free_bytes: int
    runs: int
    bad_records: int
    baseline_counts: int
    fault: int = 0
    overload: int = 0
    battery_mv: int = 0
    lowest_battery_mv: int = 0
    temperature_cdeg: int = NOT_MEASURED
    ring_high: int = 0
    free_memory: int = 0
    reset_cause: int = 0
    seconds_left: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandRecord(Header):
    """`arguments` are packed by commands.pack_arguments."""

    KIND: ClassVar[Kind] = Kind.COMMAND
    command: int
    arguments: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer(Header):
    """`results` are unpacked by commands.unpack_results."""

    KIND: ClassVar[Kind] = Kind.ANSWER
    command: int
    error: int
    results: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLine(Header):
    KIND: ClassVar[Kind] = Kind.LOG
    level: int
    log_s: int
    log_us: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationCopy(Header):
    """force_n = c0_n + c1_n z + c2_n z**2 + c3_n z**3 with z = (counts - centre_counts) / scale_counts.

    Load is the force less that of the empty cell. Single precision; `sha256` names the whole calibration.
    """

    KIND: ClassVar[Kind] = Kind.CALIBRATION
    name: str
    made_s: int
    input: int
    centre_counts: int
    scale_counts: int
    c0_n: float
    c1_n: float
    c2_n: float
    c3_n: float
    highest_known_n: float
    capacity_n: float
    sha256: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt(Header):
    """To be sent back as it came."""

    KIND: ClassVar[Kind] = Kind.RECEIPT
    token: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Means(Header):
    """Arrays (n,), one element for each mean.

    `number` samples follow each other without a hole, from `first_sample` on; step_ms is the time from the first
    sample of the mean before to that of this one, 0 for the first; `quality` is the worst.
    """

    KIND: ClassVar[Kind] = Kind.MEANS
    first_sample: int
    first_s: int
    first_us: int
    number: NDArray[np.int64]
    quality: NDArray[np.uint8]
    step_ms: NDArray[np.int64]
    mean: NDArray[np.int32]
    lowest: NDArray[np.int32]
    highest: NDArray[np.int32]

    def __eq__(self, other: object) -> bool:
        return equal(self, other)

    def __hash__(self) -> int:
        return hash((self.run, self.index, self.mean.tobytes()))


@dataclass(frozen=True, slots=True, kw_only=True)
class FileHead(Header):
    """What a file says of itself."""

    KIND: ClassVar[Kind] = Kind.FILE
    text: str
    table: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown(Header):
    """An undamaged record of a kind that this version does not know; kept, never guessed at."""

    kind: int
    payload: bytes


Record = (
    Identity
    | Settings
    | RunBegin
    | Samples
    | Mark
    | PeakWindow
    | RunEnd
    | Status
    | CommandRecord
    | Answer
    | LogLine
    | CalibrationCopy
    | Receipt
    | Means
    | FileHead
    | Unknown
)

_CLASSES: Final[dict[int, Any]] = {
    cls.KIND.value: cls
    for cls in (
        Identity,
        Settings,
        RunBegin,
        Samples,
        Mark,
        PeakWindow,
        RunEnd,
        Status,
        CommandRecord,
        Answer,
        LogLine,
        CalibrationCopy,
        Receipt,
        Means,
        FileHead,
    )
}
_SAMPLE_LIMITS: Final = {Kind.SAMPLES: MAX_SAMPLES, Kind.PEAK_WINDOW: MAX_WINDOW_SAMPLES}


def check(record: bytes) -> None:
    """Raise DamagedRecord unless size and checksum are those of a record."""
    if len(record) < MIN_RECORD:
        raise DamagedRecord(Damage.TOO_SHORT, f"{len(record)} bytes")
    if len(record) > MAX_RECORD:
        raise DamagedRecord(Damage.TOO_LONG, f"{len(record)} bytes")
    told = int.from_bytes(record[-CRC_SIZE:], "little")
    found = zlib.crc32(record[:-CRC_SIZE])
    if told != found:
        raise DamagedRecord(Damage.BAD_CHECKSUM, f"{told:08x}, computed {found:08x}")


def parse(record: bytes) -> Record:
    """Turn an unframed record into its dataclass.

    A record of a newer version is read as far as this version knows it. Raises: DamagedRecord; anything else
    is a bug.
    """
    check(record)
    kind, version = record[0], record[1]
    run = int.from_bytes(record[2:4], "little")
    index = int.from_bytes(record[4:8], "little")
    payload = record[HEADER_SIZE:-CRC_SIZE]
    if version == 0:
        raise DamagedRecord(Damage.BAD_VALUE, "version 0")
    cls = _CLASSES.get(kind)
    if cls is None:
        return Unknown(run=run, index=index, version=version, kind=kind, payload=payload)
    limit = _SAMPLE_LIMITS.get(cls.KIND, MAX_SAMPLES)
    values: dict[str, Any] = dict(
        read_fields(FIELDS[cls.KIND], payload, extra_allowed=version > VERSION, max_samples=limit)
    )
    if cls.KIND in _SAMPLE_LIMITS:
        values["counts"], values["step_us"], values["quality"] = values.pop("samples")
    if cls is Means:
        values |= zip(MEAN_COLUMNS, values.pop("means"), strict=True)
    if cls is CalibrationCopy and not values["scale_counts"]:
        raise DamagedRecord(Damage.BAD_VALUE, "scale_counts is 0")
    made: Record = cls(run=run, index=index, version=version, **values)
    return made


def build(record: Record) -> bytes:
    """Turn a dataclass into the bytes of an unframed record, checksum included.

    Raises: UsageError for a value that its field cannot hold.
    """
    if isinstance(record, Unknown):
        kind, payload = record.kind, record.payload
    else:
        kind, payload = record.KIND.value, _payload(record)
    header = (("kind", "u8"), ("version", "u8"), ("run", "u16"), ("index", "u32"))
    values: dict[str, Value] = {
        "kind": kind,
        "version": record.version,
        "run": record.run,
        "index": record.index,
    }
    body = write_fields(header, values) + payload
    if record.version == 0 or len(body) + CRC_SIZE > MAX_RECORD:
        raise UsageError(f"version {record.version} and {len(body) + CRC_SIZE} bytes do not make a record")
    return body + zlib.crc32(body).to_bytes(CRC_SIZE, "little")


def _payload(record: Record) -> bytes:
    assert not isinstance(record, Unknown)
    layout = FIELDS[record.KIND]
    if isinstance(record, Samples | PeakWindow):
        block = (record.counts, record.step_us, record.quality)
        values = {name: block if kind == "samples" else getattr(record, name) for name, kind in layout}
        return write_fields(layout, values, max_samples=_SAMPLE_LIMITS[record.KIND])
    if isinstance(record, Means):
        columns = tuple(getattr(record, name) for name in MEAN_COLUMNS)
        return write_fields(
            layout, {name: columns if kind == "means" else getattr(record, name) for name, kind in layout}
        )
    return write_fields(layout, {name: getattr(record, name) for name, _ in layout})
