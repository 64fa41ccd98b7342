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
    "wire_cobs": 600,
    "wire_record": 1300,
    "wire_arguments": 2700,
    "load_text": 2700,
    "settings_text": 1520,
    "names": 200,
    "csv_recording": 150,
    "tables": 120,
    "session_files": 120,
    "summary_json": 250,
    "seals": 80,
    "calibration_json": 80,
    "firmware_commands": 30,
    "conversation": 30,
    "flash_store": 25,
    "run_scan": 25,
    "wire_stream": 25,
    "run_file": 25,
    "hostile_logger": 8,
    "parquet": 12,
}
"""Targets, and of how many of ten thousand inputs each gets: the quick ones many, the slow ones their share of time."""
