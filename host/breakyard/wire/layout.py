"""The numbers of protocol/records.json as Python.

Restated by hand on purpose, in the shape of the firmware's layout.py, and compared with the table in both
directions by protocol/check.py, which tests/protocol/test_table.py runs. Only numbers and field lists live here.
"""

from collections.abc import Mapping
from enum import IntEnum
from types import MappingProxyType
from typing import Final

VERSION: Final = 1
"""Version of the table that this package writes; newer records are read as far as they are known."""

HEADER_SIZE: Final = 8
CRC_SIZE: Final = 4

TABLE: Final = bytes.fromhex("66980a69ac6b458f")
"""The first bytes of the SHA-256 of protocol/released/1.json, which FILE has."""

MAX_RECORD: Final = 254
MIN_RECORD: Final = 12
MAX_FRAME: Final = 257
MAX_SAMPLES: Final = 46
MAX_WINDOW_SAMPLES: Final = 43
MAX_MEANS: Final = 17
MAX_TEXT: Final = 64
STEP_US: Final = 20
MAX_STEP: Final = 8191
RAIL_LOW: Final = -8388608
RAIL_HIGH: Final = 8388607
MAX_RUN: Final = 65535
LINK_CREDIT: Final = 4096
PACKET_COST: Final = 60
MAX_LIVE: Final = 2
LINK_SILENCE: Final = 5000
LINK_FIRST_WORD: Final = 20000
LINK_UNSEALED: Final = 30000
CHALLENGE_PAUSE: Final = 250
COMMANDS_AT_ONCE: Final = 8
COMMAND_WINDOW: Final = 1024
MAX_READ: Final = 64
MAX_FILLER: Final = 240
CLOCK_NEVER_SET: Final = 4294967295

SAMPLE_SIZE: Final = 5
MEAN_SIZE: Final = 13
STAMP_QUALITY_SHIFT: Final = 13
"""stamp = quality << 13 | step"""
MAX_US: Final = 999_999
"""Largest value of the microseconds that follow whole seconds."""


class Kind(IntEnum):
    IDENTITY = 1
    SETTINGS = 2
    RUN_BEGIN = 3
    SAMPLES = 4
    MARK = 5
    PEAK_WINDOW = 6
    RUN_END = 7
    STATUS = 8
    COMMAND = 9
    ANSWER = 10
    LOG = 11
    CALIBRATION = 12
    RECEIPT = 13
    MEANS = 14
    FILE = 15


class Command(IntEnum):
    HELLO = 1
    SET = 2
    ARM = 3
    START = 4
    STOP = 5
    MARK = 6
    LIST = 7
    READ = 8
    TIME = 9
    SET_CLOCK = 10
    STREAM = 11
    ERASE = 12
    STORE_CALIBRATION = 13
    READ_CALIBRATION = 14
    SET_KEY = 15
    CHALLENGE = 16
    SEALED = 17
    SELF_TEST = 18
    TEST_STORE = 19
    TEST_LINK = 20
    TEST_RATE = 21


class Setting(IntEnum):
    THRESHOLD_COUNTS = 1
    TRIGGER_SAMPLES = 2
    PRE_TRIGGER_MS = 3
    HANG_MS = 4
    INPUT = 5
    STATUS_MS = 6
    COMMIT_MS = 7
    CAPACITY_COUNTS = 8
    MEAN_MS = 9
    PRIVACY = 10
    ALARM_COUNTS = 11


class State(IntEnum):
    IDLE = 0
    ARMED = 1
    RECORDING = 2
    FAULT = 3


class Fault(IntEnum):
    NONE = 0
    SILENT = 1
    SILENT_HIGH = 2
    SILENT_LOW = 3
    NO_CLOCK = 4
    ALL_ONES = 5
    OUT_OF_STEP = 6
    ON_HIGH_RAIL = 7
    ON_LOW_RAIL = 8
    WRONG_RATE = 9


class Overload(IntEnum):
    NONE = 0
    ALARM = 1
    CAPACITY = 2
    ABOVE_120_PERCENT = 3


class ResetCause(IntEnum):
    UNKNOWN = 0
    POWER = 1
    RESET = 2
    WATCHDOG = 3
    SOFTWARE = 4


class Input(IntEnum):
    A128 = 1
    B32 = 2
    A64 = 3


class Quality(IntEnum):
    GOOD = 0
    LATE = 1
    RAIL = 2
    SETTLING = 3
    OUT_OF_STEP = 4


class BeginCause(IntEnum):
    TRIGGER = 0
    COMMAND = 1


class EndCause(IntEnum):
    HANG = 0
    COMMAND = 1
    STORE_FULL = 2
    POWER_LOST = 3
    MEMORY_LOST = 4


class MarkCode(IntEnum):
    USER = 0
    VIDEO = 1
    SPECIMEN = 2
    KNOWN_MASS = 3
    EXTENSION = 4


class Level(IntEnum):
    INFO = 0
    WARNING = 1
    ERROR = 2


class Error(IntEnum):
    OK = 0
    UNKNOWN_COMMAND = 1
    BAD_ARGUMENT = 2
    BAD_STATE = 3
    NO_SUCH_RUN = 4
    NO_SUCH_RECORD = 5
    STORE_FULL = 6
    WRONG_HASH = 7
    NOT_ALLOWED = 8
    TOO_SOON = 9
    BUSY = 10


class Access(IntEnum):
    KEY_ONLY = 0
    STATUS = 1
    READING = 2
    EVERYTHING = 3


class Privacy(IntEnum):
    AS_ACCESS = 0
    OPEN = 1
    PRIVATE = 2


class StoreTest(IntEnum):
    SAME = 0
    NO_FLASH = 1
    NOT_WRITTEN = 2
    NOT_READ = 3
    DIFFERENT = 4


class Damage(IntEnum):
    BAD_STUFFING = 1
    TOO_SHORT = 2
    TOO_LONG = 3
    BAD_CHECKSUM = 4
    BAD_LENGTH = 5
    BAD_VALUE = 6


Fields = tuple[tuple[str, str], ...]
"""Names and types, in the order of the bytes."""

TYPE_SIZES: Final[Mapping[str, int]] = MappingProxyType(
    {"u8": 1, "u16": 2, "u32": 4, "i24": 3, "f32": 4, "bytes8": 8, "bytes32": 32}
)
"""Types of fixed size; text, samples, means and rest tell or imply their own."""

_CALIBRATION: Final[Fields] = (
    ("name", "text"),
    ("made_s", "u32"),
    ("input", "u8"),
    ("centre_counts", "i24"),
    ("scale_counts", "u32"),
    ("c0_n", "f32"),
    ("c1_n", "f32"),
    ("c2_n", "f32"),
    ("c3_n", "f32"),
    ("highest_known_n", "f32"),
    ("capacity_n", "f32"),
    ("sha256", "bytes32"),
)

FIELDS: Final[Mapping[Kind, Fields]] = MappingProxyType(
    {
        Kind.IDENTITY: (
            ("serial", "bytes8"),
            ("boot", "u32"),
            ("protocol", "u8"),
            ("board", "text"),
            ("firmware", "text"),
            ("interpreter", "text"),
        ),
        Kind.SETTINGS: (
            ("threshold_counts", "u32"),
            ("trigger_samples", "u8"),
            ("pre_trigger_ms", "u16"),
            ("hang_ms", "u32"),
            ("input", "u8"),
            ("status_ms", "u16"),
            ("commit_ms", "u16"),
            ("capacity_counts", "u32"),
            ("mean_ms", "u16"),
            ("privacy", "u8"),
            ("alarm_counts", "u32"),
        ),
        Kind.RUN_BEGIN: (
            ("boot", "u32"),
            ("cause", "u8"),
            ("first_s", "u32"),
            ("first_us", "u32"),
            ("trigger_s", "u32"),
            ("trigger_us", "u32"),
            ("baseline_counts", "i24"),
            ("rate_mhz", "u32"),
            ("input", "u8"),
            ("clock_device_s", "u32"),
            ("clock_device_us", "u32"),
            ("clock_utc_s", "u32"),
            ("clock_utc_us", "u32"),
            ("clock_uncertainty_us", "u32"),
        ),
        Kind.SAMPLES: (
            ("first_sample", "u32"),
            ("first_s", "u32"),
            ("first_us", "i24"),
            ("samples", "samples"),
        ),
        Kind.MARK: (("mark_s", "u32"), ("mark_us", "u32"), ("code", "u8"), ("text", "text")),
        Kind.PEAK_WINDOW: (
            ("rank", "u8"),
            ("of", "u8"),
            ("peak_sample", "u32"),
            ("peak_counts", "i24"),
            ("first_sample", "u32"),
            ("first_s", "u32"),
            ("first_us", "u32"),
            ("samples", "samples"),
        ),
        Kind.RUN_END: (
            ("cause", "u8"),
            ("end_s", "u32"),
            ("end_us", "u32"),
            ("samples", "u32"),
            ("samples_not_stored", "u32"),
            ("missed", "u32"),
            ("clipped", "u32"),
            ("doubtful", "u32"),
            ("lowest_counts", "i24"),
            ("highest_counts", "i24"),
            ("peak_windows", "u8"),
            ("sha256", "bytes32"),
            ("overload", "u8"),
            ("lowest_battery_mv", "u16"),
            ("temperature_cdeg", "i24"),
            ("ring_high", "u16"),
            ("free_memory", "u32"),
            ("reset_cause", "u8"),
        ),
        Kind.STATUS: (
            ("state", "u8"),
            ("now_s", "u32"),
            ("now_us", "u32"),
            ("counts", "i24"),
            ("extreme_counts", "i24"),
            ("quality", "u8"),
            ("samples", "u32"),
            ("records", "u32"),
            ("missed", "u32"),
            ("rate_mhz", "u32"),
            ("free_bytes", "u32"),
            ("runs", "u16"),
            ("bad_records", "u16"),
            ("baseline_counts", "i24"),
            ("fault", "u8"),
            ("overload", "u8"),
            ("battery_mv", "u16"),
            ("lowest_battery_mv", "u16"),
            ("temperature_cdeg", "i24"),
            ("ring_high", "u16"),
            ("free_memory", "u32"),
            ("reset_cause", "u8"),
            ("seconds_left", "u32"),
        ),
        Kind.COMMAND: (("command", "u8"), ("arguments", "rest")),
        Kind.ANSWER: (("command", "u8"), ("error", "u8"), ("results", "rest")),
        Kind.LOG: (("level", "u8"), ("log_s", "u32"), ("log_us", "u32"), ("text", "text")),
        Kind.CALIBRATION: _CALIBRATION,
        Kind.RECEIPT: (("token", "u32"),),
        Kind.MEANS: (("first_sample", "u32"), ("first_s", "u32"), ("first_us", "u32"), ("means", "means")),
        Kind.FILE: (("text", "text"), ("table", "bytes8")),
    }
)

_RUN: Final = ("run", "u16")
_SHA256: Final = ("sha256", "bytes32")

ARGUMENTS: Final[Mapping[Command, Fields]] = MappingProxyType(
    {
        Command.HELLO: (),
        Command.SET: (("setting", "u8"), ("value", "u32")),
        Command.ARM: (),
        Command.START: (),
        Command.STOP: (),
        Command.MARK: (("code", "u8"), ("text", "text"), ("before_ms", "u16")),
        Command.LIST: (("first", "u16"),),
        Command.READ: (_RUN, ("first", "u32"), ("count", "u8"), ("follow", "u8")),
        Command.TIME: (),
        Command.SET_CLOCK: (
            ("device_s", "u32"),
            ("device_us", "u32"),
            ("utc_s", "u32"),
            ("utc_us", "u32"),
            ("uncertainty_us", "u32"),
        ),
        Command.STREAM: (("on", "u8"),),
        Command.ERASE: (_RUN, _SHA256),
        Command.STORE_CALIBRATION: _CALIBRATION,
        Command.READ_CALIBRATION: (),
        Command.SET_KEY: (("key", "bytes32"), ("access", "u8")),
        Command.CHALLENGE: (("host_nonce", "bytes32"),),
        Command.SEALED: (("counter", "u32"), ("tag", "bytes32"), ("sealed", "rest")),
        Command.SELF_TEST: (("seconds", "u8"),),
        Command.TEST_STORE: (),
        Command.TEST_LINK: (("size", "u8"),),
        Command.TEST_RATE: (("slow_s", "u8"),),
    }
)

RESULTS: Final[Mapping[Command, Fields]] = MappingProxyType(
    {
        Command.HELLO: (("protocol", "u8"), ("name", "text"), ("commands", "u8"), ("window", "u16")),
        Command.SET: (("value", "u32"),),
        Command.ARM: (_RUN, ("seconds_left", "u32")),
        Command.START: (_RUN, ("seconds_left", "u32")),
        Command.STOP: (_RUN,),
        Command.MARK: (("mark_s", "u32"), ("mark_us", "u32")),
        Command.LIST: (_RUN, ("records", "u32"), ("bytes", "u32"), ("complete", "u8")),
        Command.READ: (("next", "u32"), ("finished", "u8")),
        Command.TIME: (("now_s", "u32"), ("now_us", "u32")),
        Command.SET_CLOCK: (),
        Command.STREAM: (),
        Command.ERASE: (),
        Command.STORE_CALIBRATION: (_SHA256,),
        Command.READ_CALIBRATION: (_SHA256,),
        Command.SET_KEY: (("key_id", "bytes8"),),
        Command.CHALLENGE: (("nonce", "bytes32"), ("proof", "bytes32")),
        Command.SEALED: (),
        Command.SELF_TEST: (
            ("samples", "u16"),
            ("span_ms", "u32"),
            ("missed", "u16"),
            ("late", "u16"),
            ("on_rail", "u16"),
            ("settling", "u16"),
            ("out_of_step", "u16"),
            ("mean_counts", "i24"),
            ("lowest_counts", "i24"),
            ("highest_counts", "i24"),
            ("noise_millicounts", "u32"),
            ("input", "u8"),
            ("free_memory", "u32"),
        ),
        Command.TEST_STORE: (("outcome", "u8"), ("bytes", "u16"), ("write_ms", "u32"), ("read_ms", "u32")),
        Command.TEST_LINK: (("filler", "rest"),),
        Command.TEST_RATE: (("has_pin", "u8"),),
    }
)

SETTING_LIMITS: Final[Mapping[Setting, tuple[int, int, int]]] = MappingProxyType(
    {
        Setting.THRESHOLD_COUNTS: (100, 20_000, 8_000_000),
        Setting.TRIGGER_SAMPLES: (1, 2, 10),
        Setting.PRE_TRIGGER_MS: (0, 5_000, 8_000),
        Setting.HANG_MS: (100, 5_000, 600_000),
        Setting.INPUT: (1, 1, 3),
        Setting.STATUS_MS: (50, 100, 10_000),
        Setting.COMMIT_MS: (50, 500, 10000),
        Setting.CAPACITY_COUNTS: (0, 0, 8388607),
        Setting.MEAN_MS: (0, 0, 60_000),
        Setting.PRIVACY: (0, 0, 2),
        Setting.ALARM_COUNTS: (0, 0, 8388607),
    }
)
"""Lowest, default, highest."""

GAINS: Final[Mapping[Input, int]] = MappingProxyType({Input.A128: 128, Input.B32: 32, Input.A64: 64})
