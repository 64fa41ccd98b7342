"""Longer than a test may take: every value of every byte, then random damage for as long as you like.

    python tests/fuzz/damage_files.py [--seconds 60] [--seed 1]

Takes its run files from the golden vectors. Each byte of a whole run gets each of the 255 other values: exactly the
record that holds the byte may be lost. Then random damage: whole-file and piecewise decoding must agree, and every
record that comes out must be one that went in. Prints how much was tried; the first failure prints how to repeat it.
"""

import argparse
import contextlib
import json
import random
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT / "host"))

from breakyard.errors import DataError  # noqa: E402
from breakyard.run import read_runs  # noqa: E402
from breakyard.wire.bulk import decode  # noqa: E402
from breakyard.wire.damage import Damaged  # noqa: E402
from breakyard.wire.frame import NEED_DATA, FrameReader  # noqa: E402


def piecewise(data):
    reader = FrameReader()
    reader.receive_data(data)
    reader.receive_end()
    out = []
    while (item := reader.next_record()) is not NEED_DATA:
        out.append(item)
    return out


def every_byte(data):
    """Change each byte of `data` to each other value."""
    whole = piecewise(data)
    tried = 0
    begin = 0
    frames = []  # (first byte, byte after the last) of each record's frame
    for _ in whole:
        end = data.index(b"\0", begin + 1) + 1
        frames.append((begin, end))
        begin = end
    for number, (begin, end) in enumerate(frames):
        others = whole[:number] + whole[number + 1 :]
        for place in range(begin, end):
            for value in range(256):
                if value == data[place]:
                    continue
                changed = data[:place] + bytes([value]) + data[place + 1 :]
                got = list(decode(changed).items())
                kept = [item for item in got if not isinstance(item, Damaged)]
                if kept != others or len(kept) == len(got):
                    sys.exit(f"byte {place} changed to {value}: {changed.hex()}")
                tried += 1
    return tried


def random_damage(streams, seconds, seed):
    """Damage at random until the time is over."""
    draw = random.Random(seed)
    tried = 0
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        out = bytearray(b"".join(draw.choices(streams, k=draw.randint(1, 3))))
        sent = [item for item in piecewise(bytes(out)) if not isinstance(item, Damaged)]
        for _ in range(draw.randint(1, 12)):
            place = draw.randrange(len(out) + 1)
            length = draw.choice([1, 1, 1, 2, 5, 40, 300])
            what = draw.randrange(4)
            if what == 0:
                out[place : place + length] = draw.randbytes(length)
            elif what == 1:
                del out[place : place + length]
            elif what == 2:
                out[place:place] = draw.randbytes(length)
            else:
                out[place : place + length] = bytes(length)
        damaged = bytes(out)
        got = piecewise(damaged)
        kept = [item for item in got if not isinstance(item, Damaged)]
        rest = iter(sent)
        if list(decode(damaged).items()) != got or not all(
            any(item == other for other in rest) for item in kept
        ):
            sys.exit(f"random damage, seed {seed}, try {tried}: {damaged.hex()}")
        with contextlib.suppress(DataError):
            read_runs(damaged)
        tried += 1
    return tried


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    cases = json.loads((ROOT / "protocol" / "vectors" / "streams.json").read_text("utf-8"))["cases"]
    # Only undamaged ones: further damage could mend a damaged record by chance.
    streams = {case["id"]: bytes.fromhex(case["bytes"]) for case in cases if not case["damage"]}
    print(
        f"every byte, every value: {every_byte(streams['whole'])} files, each lost exactly the record it hurt"
    )
    tried = random_damage([data for data in streams.values() if data], options.seconds, options.seed)
    print(f"random damage: {tried} files, both readers agreed and nothing was invented")


if __name__ == "__main__":
    main()
