"""Two readers that share no line say the same of ten thousand spoilt files: samples, times, gaps, completeness."""

import json
import random
import shutil
import struct
import subprocess
import zlib
from pathlib import Path

import numpy as np
import pytest

from breakyard.errors import DataError
from breakyard.run import read_runs
from breakyard.wire.bulk import decode
from breakyard.wire.cobs import unstuff
from breakyard.wire.frame import frame

FILES = 10_000
FOLDER = Path(__file__).parent / "wire"


def spoil_bytes(draw: random.Random, data: bytes) -> bytes:
    """Change, remove, insert, repeat or swap bytes anywhere."""
    out = bytearray(data)
    for _ in range(draw.randint(1, 6)):
        place = draw.randrange(len(out) + 1)
        length = draw.choice([1, 1, 1, 2, 5, 40, 300])
        match draw.randrange(4):
            case 0:
                out[place : place + length] = draw.randbytes(length)
            case 1:
                del out[place : place + length]
            case 2:
                out[place:place] = draw.randbytes(length)
            case _:
                out[place:place] = out[draw.randrange(len(out) + 1) :][:length]
        out = out or bytearray(1)
    return bytes(out)


def spoil_records(draw: random.Random, data: bytes) -> bytes:
    """Change records and give them checksums that agree; leave some out, repeat and move some."""
    records = [bytearray(unstuff(stretch)) for stretch in data.split(b"\0") if stretch]
    for _ in range(draw.randint(1, 5)):
        record = records[draw.randrange(len(records))]
        match draw.randrange(7):
            case 0:  # header, or the first fields: where times and numbers are
                record[draw.randrange(min(len(record) - 4, 24))] = draw.choice(
                    [0, 1, 2, 255, draw.randrange(256)]
                )
            case 1:
                record[draw.randrange(len(record) - 4)] ^= 1 << draw.randrange(8)
            case 2:
                record[4:8] = struct.pack("<I", draw.randrange(12))
            case 3 if record[0] == 4:
                record[8:12] = struct.pack("<I", draw.randrange(40))
            case 4 if record[0] == 4:
                record[12:16] = struct.pack("<I", 100 + draw.randrange(-1, 3))
            case 5:
                records.remove(record)
            case _:
                records.insert(draw.randrange(len(records)), bytearray(record))
        if not records:
            return data
    return b"".join(frame(bytes(r[:-4]) + struct.pack("<I", zlib.crc32(r[:-4]))) for r in records)


def said_of(data: bytes) -> dict[str, object]:
    """What the host's reader says of a file."""
    try:
        runs = read_runs(data)
    except DataError:
        runs = ()
    return {
        "damage": [[one.offset, one.length, int(one.reason)] for one in decode(data).damaged],
        "runs": [
            {
                "number": run.number,
                "counts": run.counts.tolist(),
                "time_us": np.round(run.time_s * 1e6).astype(np.int64).tolist(),
                "quality": run.quality.tolist(),
                "gaps": [[gap.after_sample, gap.missing, gap.cause] for gap in run.gaps],
                "missing_records": [list(pair) for pair in run.loss.missing_records],
                "missing_samples": run.loss.missing_samples,
                "unknown_records": run.loss.unknown_records,
                "marks": len(run.marks),
                "complete": run.loss.complete,
                "damaged": len(run.loss.damaged),
            }
            for run in runs
        ],
    }


def test_both_readers_agree_on_spoilt_files(tmp_path: Path, root: Path) -> None:
    """Same samples, same gaps, same completeness, whether bytes or sound records were spoilt."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node (20 or later)")
    streams = json.loads((root / "protocol" / "vectors" / "streams.json").read_text("utf-8"))["cases"]
    wholes = [
        bytes.fromhex(case["bytes"]) for case in streams if not case["damage"] and case["bytes"].strip("0")
    ]
    draw = random.Random(20)
    files = [
        (spoil_bytes if number % 2 else spoil_records)(
            draw, b"".join(draw.choices(wholes, k=draw.randint(1, 2)))
        )
        for number in range(FILES)
    ]
    path = tmp_path / "files"
    path.write_bytes(b"".join(struct.pack("<I", len(data)) + data for data in files))

    done = subprocess.run(
        [node, "read_files.mjs", path], cwd=FOLDER, capture_output=True, text=True, check=False
    )

    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert len(lines) == FILES
    complete = 0
    for data, line in zip(files, lines, strict=True):
        ours, theirs = said_of(data), json.loads(line)
        assert ours == theirs, data.hex()
        complete += sum(run["complete"] for run in theirs["runs"])
    assert 0 < complete < FILES  # some damage spares a run, most does not
