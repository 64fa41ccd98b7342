"""The firmware's search for sound records in a damaged run: it ends, invents nothing, and seeks as it searches."""

from fuzz_targets.feeding import SOUND, Cursor, data_of, stream_of, vectors
from logger.core.layout import MAX_FRAME
from logger.core.run_scan import RunScan

MAX_LEN = 400
RUN = 1


def seeds():
    return [data_of(bytes.fromhex(case["bytes"])) for case in vectors("streams")] + [
        b"".join(bytes([SOUND, 9, 3, 1, RUN, 0]) + index.to_bytes(4, "little") + b"x" for index in range(20))
    ]


def try_one(data):
    stream = stream_of(data)
    # Long enough for more than one window, without feeding that much.
    padded = (
        bytes(len(data) % 7 * 9) + b"\x05" * (len(data) % 5 * 300) + stream + b"\x05" * (len(data) % 3 * 900)
    )
    calls = 0

    def load(run, offset, buffer):
        nonlocal calls
        assert run == RUN
        calls += 1
        piece = padded[offset : offset + len(buffer)]
        buffer[: len(piece)] = piece
        return len(piece)

    scan = RunScan(load)
    scan.open(RUN)
    found = []
    offset = 0
    while scan.next(offset, len(padded)):
        assert offset <= scan.start < scan.end <= len(padded)
        assert scan.length <= MAX_FRAME
        assert int.from_bytes(scan.record[2:4], "little") == RUN
        found.append((scan.start, scan.index, bytes(scan.record[: scan.length])))
        offset = scan.end
    # Near the end, where less than a window is left, each step may look again.
    assert calls <= 4 + len(padded) // 700 + 2 * MAX_FRAME + 2 * len(found)
    scan.open(RUN)
    assert scan.last(len(padded)) == bool(found)
    if found:
        assert (scan.start, scan.index) == found[-1][:2]
    cursor = Cursor(data)
    scan.seek(cursor.number(2), len(padded))
