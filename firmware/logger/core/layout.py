"""The numbers of protocol/records.json, as this interpreter likes them.

A test compares every name here with that table under the real interpreter. Numbers that nothing of the firmware uses
are not here: each name takes memory of the board.
The host has a file of the same shape (host/breakyard/wire/layout.py) on purpose; neither imports the other.

A layout is a string with one letter per field, in the order of the table:
    B u8   H u16   I u32   i i24   f f32   8 bytes8   S bytes32   t text   s samples   m means   * rest
"""

from micropython import const

VERSION = const(1)

HEADER = const(8)  # kind, version, run, index
TRAILER = const(4)  # CRC-32

# limits
MAX_RECORD = const(254)
MIN_RECORD = const(12)
MAX_FRAME = const(257)
MAX_SAMPLES = const(46)
MAX_WINDOW_SAMPLES = const(43)
MAX_MEANS = const(17)
MAX_TEXT = const(64)
STEP_US = const(20)
MAX_STEP = const(8191)
RAIL_LOW = const(-8388608)
RAIL_HIGH = const(8388607)
MAX_RUN = const(65535)
LINK_CREDIT = const(4096)
PACKET_COST = const(60)
MAX_LIVE = const(2)
LINK_SILENCE = const(5000)
LINK_FIRST_WORD = const(20000)
LINK_UNSEALED = const(30000)
CHALLENGE_PAUSE = const(250)
COMMANDS_AT_ONCE = const(8)
COMMAND_WINDOW = const(1024)
MAX_READ = const(64)
MAX_FILLER = const(240)
CLOCK_NEVER_SET = const(4294967295)

SAMPLE_BYTES = const(5)
QUALITY_SHIFT = const(13)  # stamp = quality * 8192 + step

# kinds
KIND_IDENTITY = const(1)
KIND_SETTINGS = const(2)
KIND_RUN_BEGIN = const(3)
KIND_SAMPLES = const(4)
KIND_MARK = const(5)
KIND_PEAK_WINDOW = const(6)
KIND_RUN_END = const(7)
KIND_STATUS = const(8)
KIND_COMMAND = const(9)
KIND_ANSWER = const(10)
KIND_LOG = const(11)
KIND_CALIBRATION = const(12)
KIND_RECEIPT = const(13)
KIND_MEANS = const(14)

# payload of each kind
FIELDS_IDENTITY = "8IBttt"
FIELDS_SETTINGS = "IBHIBHHIHBI"
FIELDS_RUN_BEGIN = "IBIIIIiIBIIIII"
FIELDS_MARK = "IIBt"
FIELDS_RUN_END = "BIIIIIIIiiBSBHiHIB"
FIELDS_STATUS = "BIIiiBIIIIIHHiBBHHiHIBI"
FIELDS_LOG = "BIIt"
FIELDS_CALIBRATION = "tIBiIffffffS"
FIELDS_RECEIPT = "I"

# commands, their arguments and their results
COMMAND_HELLO = const(1)
COMMAND_SET = const(2)
COMMAND_ARM = const(3)
COMMAND_START = const(4)
COMMAND_STOP = const(5)
COMMAND_MARK = const(6)
COMMAND_LIST = const(7)
COMMAND_READ = const(8)
COMMAND_TIME = const(9)
COMMAND_SET_CLOCK = const(10)
COMMAND_STREAM = const(11)
COMMAND_ERASE = const(12)
COMMAND_STORE_CALIBRATION = const(13)
COMMAND_READ_CALIBRATION = const(14)
COMMAND_SET_KEY = const(15)
COMMAND_CHALLENGE = const(16)
COMMAND_SEALED = const(17)
COMMAND_SELF_TEST = const(18)
COMMAND_TEST_STORE = const(19)
COMMAND_TEST_LINK = const(20)
COMMAND_TEST_RATE = const(21)

# by number, the first is that of HELLO; names for each would cost a board 2 KiB
ARGUMENTS = (
    "",  # HELLO
    "BI",  # SET
    "",  # ARM
    "",  # START
    "",  # STOP
    "BtH",  # MARK
    "H",  # LIST
    "HIBB",  # READ
    "",  # TIME
    "IIIII",  # SET_CLOCK
    "B",  # STREAM
    "HS",  # ERASE
    "tIBiIffffffS",  # STORE_CALIBRATION
    "",  # READ_CALIBRATION
    "SB",  # SET_KEY
    "S",  # CHALLENGE
    "IS*",  # SEALED
    "B",  # SELF_TEST
    "",  # TEST_STORE
    "B",  # TEST_LINK
    "B",  # TEST_RATE
)
RESULTS = (
    "BtBH",  # HELLO
    "I",  # SET
    "HI",  # ARM
    "HI",  # START
    "H",  # STOP
    "II",  # MARK
    "HIIB",  # LIST
    "IB",  # READ
    "II",  # TIME
    "",  # SET_CLOCK
    "",  # STREAM
    "",  # ERASE
    "S",  # STORE_CALIBRATION
    "S",  # READ_CALIBRATION
    "8",  # SET_KEY
    "SS",  # CHALLENGE
    "",  # SEALED
    "HIHHHHHiiiIBI",  # SELF_TEST
    "BHII",  # TEST_STORE
    "*",  # TEST_LINK
    "B",  # TEST_RATE
)

# settings: (default, lowest, highest) in the order of the table
SETTING_LIMITS = (
    (20000, 100, 8000000),
    (2, 1, 10),
    (5000, 0, 8000),
    (5000, 100, 600000),
    (1, 1, 3),
    (100, 50, 10000),
    (500, 50, 10000),
    (0, 0, 8388607),
    (0, 0, 60000),
    (0, 0, 2),
    (0, 0, 8388607),
)

STATE_IDLE = const(0)
STATE_ARMED = const(1)
STATE_RECORDING = const(2)
STATE_FAULT = const(3)

OVERLOAD_NONE = const(0)
OVERLOAD_ALARM = const(1)
OVERLOAD_CAPACITY = const(2)
OVERLOAD_ABOVE_120_PERCENT = const(3)

RESET_UNKNOWN = const(0)
RESET_POWER = const(1)
RESET_RESET = const(2)
RESET_WATCHDOG = const(3)
RESET_SOFTWARE = const(4)

INPUT_A128 = const(1)
INPUT_A64 = const(3)

QUALITY_LATE = const(1)
QUALITY_RAIL = const(2)
QUALITY_SETTLING = const(3)
QUALITY_OUT_OF_STEP = const(4)

BEGIN_TRIGGER = const(0)
BEGIN_COMMAND = const(1)

END_HANG = const(0)
END_COMMAND = const(1)
END_STORE_FULL = const(2)
END_POWER_LOST = const(3)
END_MEMORY_LOST = const(4)

MARK_VIDEO = const(1)
MARK_EXTENSION = const(4)

LEVEL_INFO = const(0)
LEVEL_WARNING = const(1)
LEVEL_ERROR = const(2)

ERROR_OK = const(0)
ERROR_UNKNOWN_COMMAND = const(1)
ERROR_BAD_ARGUMENT = const(2)
ERROR_BAD_STATE = const(3)
ERROR_NO_SUCH_RUN = const(4)
ERROR_NO_SUCH_RECORD = const(5)
ERROR_STORE_FULL = const(6)
ERROR_WRONG_HASH = const(7)
ERROR_NOT_ALLOWED = const(8)
ERROR_TOO_SOON = const(9)
ERROR_BUSY = const(10)

ACCESS_KEY_ONLY = const(0)
ACCESS_STATUS = const(1)
ACCESS_READING = const(2)
ACCESS_EVERYTHING = const(3)

PRIVACY_AS_ACCESS = const(0)
PRIVACY_OPEN = const(1)
PRIVACY_PRIVATE = const(2)

STORE_TEST_SAME = const(0)
STORE_TEST_NO_FLASH = const(1)
STORE_TEST_NOT_WRITTEN = const(2)
STORE_TEST_NOT_READ = const(3)
STORE_TEST_DIFFERENT = const(4)

DAMAGE_BAD_STUFFING = const(1)
DAMAGE_TOO_SHORT = const(2)
DAMAGE_TOO_LONG = const(3)
DAMAGE_BAD_CHECKSUM = const(4)
DAMAGE_BAD_VALUE = const(6)
