"""What the fuzzer feeds, one module per decoder. Each has

    MAX_LEN          longest input worth trying
    seeds()          inputs to begin with, from the golden vectors where these fit
    try_one(data)    eats one input; any exception that comes out is a finding

An input is never just "no crash": try_one asserts what must hold of whatever came out, and lets through only the
errors that are documented. What grows with the number of inputs is a finding too (test_fuzz_targets.py).
"""

import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent.parent

# The stand-ins come last: they are called `machine`, `clock` and so on and must shadow nothing here.
for folder in (ROOT / "host", ROOT / "firmware", ROOT / "firmware" / "virtual"):
    if str(folder) not in sys.path:
        sys.path.append(str(folder))

SHARES = {
    "wire_cobs": 100,
    "wire_record": 200,
    "wire_arguments": 220,
    "load_text": 200,
    "settings_text": 130,
    "names": 60,
    "csv_recording": 15,
    "tables": 12,
    "session_files": 12,
    "summary_json": 12,
    "seals": 10,
    "calibration_json": 8,
    "firmware_commands": 5,
    "conversation": 5,
    "flash_store": 3,
    "run_scan": 3,
    "wire_stream": 3,
    "run_file": 2,
    "hostile_logger": 1,
    "parquet": 1,
}
"""Targets, and of how many inputs in a thousand each gets: the quick ones many, the slow ones their share of time."""
