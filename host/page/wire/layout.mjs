// The numbers of protocol/records.json as JavaScript. Restated by hand on purpose, in the shape of the host's layout.py,
// and compared with the table in both directions by tests/page/wire/layout.test.mjs. Only numbers and field lists; no code.

export const VERSION = 1;
/** The first bytes of the SHA-256 of protocol/released/1.json, which FILE has. */
export const TABLE = Object.freeze([0x66, 0x98, 0x0a, 0x69, 0xac, 0x6b, 0x45, 0x8f]);
export const HEADER_SIZE = 8;
export const CRC_SIZE = 4;
export const SAMPLE_SIZE = 5;
export const MEAN_SIZE = 13;
export const MAX_US = 999999;

export const LIMITS = Object.freeze({
  MAX_RECORD: 254,
  MIN_RECORD: 12,
  MAX_FRAME: 257,
  MAX_SAMPLES: 46,
  MAX_WINDOW_SAMPLES: 43,
  MAX_MEANS: 17,
  MAX_TEXT: 64,
  STEP_US: 20,
  MAX_STEP: 8191,
  RAIL_LOW: -8388608,
  RAIL_HIGH: 8388607,
  MAX_RUN: 65535,
  LINK_CREDIT: 4096,
  PACKET_COST: 60,
  MAX_LIVE: 2,
  LINK_SILENCE: 5000,
  LINK_FIRST_WORD: 20000,
  LINK_UNSEALED: 30000,
  CHALLENGE_PAUSE: 250,
  COMMANDS_AT_ONCE: 8,
  COMMAND_WINDOW: 1024,
  MAX_READ: 64,
  MAX_FILLER: 240,
  CLOCK_NEVER_SET: 4294967295,
});

export const KIND = Object.freeze({
  IDENTITY: 1, SETTINGS: 2, RUN_BEGIN: 3, SAMPLES: 4, MARK: 5, PEAK_WINDOW: 6, RUN_END: 7, STATUS: 8, COMMAND: 9,
  ANSWER: 10, LOG: 11, CALIBRATION: 12, RECEIPT: 13, MEANS: 14, FILE: 15,
});

export const COMMAND = Object.freeze({
  HELLO: 1, SET: 2, ARM: 3, START: 4, STOP: 5, MARK: 6, LIST: 7, READ: 8, TIME: 9, SET_CLOCK: 10, STREAM: 11,
  ERASE: 12, STORE_CALIBRATION: 13, READ_CALIBRATION: 14, SET_KEY: 15, CHALLENGE: 16, SEALED: 17, SELF_TEST: 18,
  TEST_STORE: 19, TEST_LINK: 20, TEST_RATE: 21,
});

export const SETTING = Object.freeze({
  THRESHOLD_COUNTS: 1, TRIGGER_SAMPLES: 2, PRE_TRIGGER_MS: 3, HANG_MS: 4, INPUT: 5, STATUS_MS: 6, COMMIT_MS: 7,
  CAPACITY_COUNTS: 8, MEAN_MS: 9, PRIVACY: 10, ALARM_COUNTS: 11,
});

export const STATE = Object.freeze({ IDLE: 0, ARMED: 1, RECORDING: 2, FAULT: 3 });

export const FAULT = Object.freeze({
  NONE: 0, SILENT: 1, SILENT_HIGH: 2, SILENT_LOW: 3, NO_CLOCK: 4, ALL_ONES: 5, OUT_OF_STEP: 6, ON_HIGH_RAIL: 7,
  ON_LOW_RAIL: 8, WRONG_RATE: 9,
});

export const OVERLOAD = Object.freeze({ NONE: 0, ALARM: 1, CAPACITY: 2, ABOVE_120_PERCENT: 3 });

export const RESET_CAUSE = Object.freeze({ UNKNOWN: 0, POWER: 1, RESET: 2, WATCHDOG: 3, SOFTWARE: 4 });

export const INPUT = Object.freeze({ A128: 1, B32: 2, A64: 3 });

export const QUALITY = Object.freeze({ GOOD: 0, LATE: 1, RAIL: 2, SETTLING: 3, OUT_OF_STEP: 4 });

export const BEGIN_CAUSE = Object.freeze({ TRIGGER: 0, COMMAND: 1 });

export const END_CAUSE = Object.freeze({ HANG: 0, COMMAND: 1, STORE_FULL: 2, POWER_LOST: 3, MEMORY_LOST: 4 });

export const MARK_CODE = Object.freeze({ USER: 0, VIDEO: 1, SPECIMEN: 2, KNOWN_MASS: 3, EXTENSION: 4 });

export const LEVEL = Object.freeze({ INFO: 0, WARNING: 1, ERROR: 2 });

export const ERROR = Object.freeze({
  OK: 0, UNKNOWN_COMMAND: 1, BAD_ARGUMENT: 2, BAD_STATE: 3, NO_SUCH_RUN: 4, NO_SUCH_RECORD: 5, STORE_FULL: 6,
  WRONG_HASH: 7, NOT_ALLOWED: 8, TOO_SOON: 9, BUSY: 10,
});

export const ACCESS = Object.freeze({ KEY_ONLY: 0, STATUS: 1, READING: 2, EVERYTHING: 3 });

export const PRIVACY = Object.freeze({ AS_ACCESS: 0, OPEN: 1, PRIVATE: 2 });

export const STORE_TEST = Object.freeze({ SAME: 0, NO_FLASH: 1, NOT_WRITTEN: 2, NOT_READ: 3, DIFFERENT: 4 });

export const DAMAGE = Object.freeze({
  BAD_STUFFING: 1, TOO_SHORT: 2, TOO_LONG: 3, BAD_CHECKSUM: 4, BAD_LENGTH: 5, BAD_VALUE: 6,
});

/** Types of fixed size; text, samples and rest tell or imply their own. */
export const TYPE_SIZES = Object.freeze({ u8: 1, u16: 2, u32: 4, i24: 3, f32: 4, bytes8: 8, bytes32: 32 });

/** Names and types of the fields, in the order of the bytes, by the name of the kind or command. */
export const FIELDS = Object.freeze({
  IDENTITY: [
    ["serial", "bytes8"], ["boot", "u32"], ["protocol", "u8"], ["board", "text"], ["firmware", "text"],
    ["interpreter", "text"],
  ],
  SETTINGS: [
    ["threshold_counts", "u32"], ["trigger_samples", "u8"], ["pre_trigger_ms", "u16"], ["hang_ms", "u32"],
    ["input", "u8"], ["status_ms", "u16"], ["commit_ms", "u16"], ["capacity_counts", "u32"], ["mean_ms", "u16"],
    ["privacy", "u8"], ["alarm_counts", "u32"],
  ],
  RUN_BEGIN: [
    ["boot", "u32"], ["cause", "u8"], ["first_s", "u32"], ["first_us", "u32"], ["trigger_s", "u32"],
    ["trigger_us", "u32"], ["baseline_counts", "i24"], ["rate_mhz", "u32"], ["input", "u8"],
    ["clock_device_s", "u32"], ["clock_device_us", "u32"], ["clock_utc_s", "u32"], ["clock_utc_us", "u32"],
    ["clock_uncertainty_us", "u32"],
  ],
  SAMPLES: [["first_sample", "u32"], ["first_s", "u32"], ["first_us", "i24"], ["samples", "samples"]],
  MARK: [["mark_s", "u32"], ["mark_us", "u32"], ["code", "u8"], ["text", "text"]],
  PEAK_WINDOW: [
    ["rank", "u8"], ["of", "u8"], ["peak_sample", "u32"], ["peak_counts", "i24"], ["first_sample", "u32"],
    ["first_s", "u32"], ["first_us", "u32"], ["samples", "samples"],
  ],
  RUN_END: [
    ["cause", "u8"], ["end_s", "u32"], ["end_us", "u32"], ["samples", "u32"], ["samples_not_stored", "u32"],
    ["missed", "u32"], ["clipped", "u32"], ["doubtful", "u32"], ["lowest_counts", "i24"], ["highest_counts", "i24"],
    ["peak_windows", "u8"], ["sha256", "bytes32"], ["overload", "u8"], ["lowest_battery_mv", "u16"],
    ["temperature_cdeg", "i24"], ["ring_high", "u16"], ["free_memory", "u32"], ["reset_cause", "u8"],
  ],
  STATUS: [
    ["state", "u8"], ["now_s", "u32"], ["now_us", "u32"], ["counts", "i24"], ["extreme_counts", "i24"],
    ["quality", "u8"], ["samples", "u32"], ["records", "u32"], ["missed", "u32"], ["rate_mhz", "u32"],
    ["free_bytes", "u32"], ["runs", "u16"], ["bad_records", "u16"], ["baseline_counts", "i24"], ["fault", "u8"],
    ["overload", "u8"], ["battery_mv", "u16"], ["lowest_battery_mv", "u16"], ["temperature_cdeg", "i24"],
    ["ring_high", "u16"], ["free_memory", "u32"], ["reset_cause", "u8"], ["seconds_left", "u32"],
  ],
  COMMAND: [["command", "u8"], ["arguments", "rest"]],
  ANSWER: [["command", "u8"], ["error", "u8"], ["results", "rest"]],
  LOG: [["level", "u8"], ["log_s", "u32"], ["log_us", "u32"], ["text", "text"]],
  CALIBRATION: [
    ["name", "text"], ["made_s", "u32"], ["input", "u8"], ["centre_counts", "i24"], ["scale_counts", "u32"],
    ["c0_n", "f32"], ["c1_n", "f32"], ["c2_n", "f32"], ["c3_n", "f32"], ["highest_known_n", "f32"],
    ["capacity_n", "f32"], ["sha256", "bytes32"],
  ],
  RECEIPT: [["token", "u32"]],
  MEANS: [["first_sample", "u32"], ["first_s", "u32"], ["first_us", "u32"], ["means", "means"]],
  FILE: [["text", "text"], ["table", "bytes8"]],
});

export const ARGUMENTS = Object.freeze({
  HELLO: [],
  SET: [["setting", "u8"], ["value", "u32"]],
  ARM: [],
  START: [],
  STOP: [],
  MARK: [["code", "u8"], ["text", "text"], ["before_ms", "u16"]],
  LIST: [["first", "u16"]],
  READ: [["run", "u16"], ["first", "u32"], ["count", "u8"], ["follow", "u8"]],
  TIME: [],
  SET_CLOCK: [
    ["device_s", "u32"], ["device_us", "u32"], ["utc_s", "u32"], ["utc_us", "u32"], ["uncertainty_us", "u32"],
  ],
  STREAM: [["on", "u8"]],
  ERASE: [["run", "u16"], ["sha256", "bytes32"]],
  STORE_CALIBRATION: [
    ["name", "text"], ["made_s", "u32"], ["input", "u8"], ["centre_counts", "i24"], ["scale_counts", "u32"],
    ["c0_n", "f32"], ["c1_n", "f32"], ["c2_n", "f32"], ["c3_n", "f32"], ["highest_known_n", "f32"],
    ["capacity_n", "f32"], ["sha256", "bytes32"],
  ],
  READ_CALIBRATION: [],
  SET_KEY: [["key", "bytes32"], ["access", "u8"]],
  CHALLENGE: [["host_nonce", "bytes32"]],
  SEALED: [["counter", "u32"], ["tag", "bytes32"], ["sealed", "rest"]],
  SELF_TEST: [["seconds", "u8"]],
  TEST_STORE: [],
  TEST_LINK: [["size", "u8"]],
  TEST_RATE: [["slow_s", "u8"]],
});

export const RESULTS = Object.freeze({
  HELLO: [["protocol", "u8"], ["name", "text"], ["commands", "u8"], ["window", "u16"]],
  SET: [["value", "u32"]],
  ARM: [["run", "u16"], ["seconds_left", "u32"]],
  START: [["run", "u16"], ["seconds_left", "u32"]],
  STOP: [["run", "u16"]],
  MARK: [["mark_s", "u32"], ["mark_us", "u32"]],
  LIST: [["run", "u16"], ["records", "u32"], ["bytes", "u32"], ["complete", "u8"]],
  READ: [["next", "u32"], ["finished", "u8"]],
  TIME: [["now_s", "u32"], ["now_us", "u32"]],
  SET_CLOCK: [],
  STREAM: [],
  ERASE: [],
  STORE_CALIBRATION: [["sha256", "bytes32"]],
  READ_CALIBRATION: [["sha256", "bytes32"]],
  SET_KEY: [["key_id", "bytes8"]],
  CHALLENGE: [["nonce", "bytes32"], ["proof", "bytes32"]],
  SEALED: [],
  SELF_TEST: [
    ["samples", "u16"], ["span_ms", "u32"], ["missed", "u16"], ["late", "u16"], ["on_rail", "u16"],
    ["settling", "u16"], ["out_of_step", "u16"], ["mean_counts", "i24"], ["lowest_counts", "i24"],
    ["highest_counts", "i24"], ["noise_millicounts", "u32"], ["input", "u8"], ["free_memory", "u32"],
  ],
  TEST_STORE: [["outcome", "u8"], ["bytes", "u16"], ["write_ms", "u32"], ["read_ms", "u32"]],
  TEST_LINK: [["filler", "rest"]],
  TEST_RATE: [["has_pin", "u8"]],
});

/** Lowest, default, highest. */
export const SETTING_LIMITS = Object.freeze({
  THRESHOLD_COUNTS: [100, 20000, 8000000],
  TRIGGER_SAMPLES: [1, 2, 10],
  PRE_TRIGGER_MS: [0, 5000, 8000],
  HANG_MS: [100, 5000, 600000],
  INPUT: [1, 1, 3],
  STATUS_MS: [50, 100, 10000],
  COMMIT_MS: [50, 500, 10000],
  CAPACITY_COUNTS: [0, 0, 8388607],
  MEAN_MS: [0, 0, 60000],
  PRIVACY: [0, 0, 2],
  ALARM_COUNTS: [0, 0, 8388607],
});

export const GAINS = Object.freeze({ [INPUT.A128]: 128, [INPUT.B32]: 32, [INPUT.A64]: 64 });

export const SERVICE_UUID = "d3d84cfa-56e2-4dec-a4e0-56fb321a2286";
export const STREAM_UUID = "d30ce564-06f5-4ced-8d8a-e130788816f9";
export const COMMAND_UUID = "170b746e-6cac-461f-80c0-48bec972c96c";
