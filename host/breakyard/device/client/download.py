"""A run from the logger's store into a run file, resumed wherever the last attempt stopped."""

import hashlib
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from breakyard.device.client.client import Client
from breakyard.errors import DataError, LinkError, Refused
from breakyard.wire.file_head import file_head
from breakyard.wire.frame import FrameReader, frame
from breakyard.wire.layout import MAX_FRAME, Error
from breakyard.wire.records import FileHead, RunEnd, Settings, parse

LARGEST_RUN: Final = 64 << 20
"""Bytes; four times the largest flash of the boards. What goes on longer is no run, and must not fill the disk."""


def kept_part(path: Path, run: int) -> tuple[int, int]:
    """Return how many records of a run, from index 0 on without a hole, a file holds, and its bytes up to their end.

    A damaged end (the host was killed while it wrote) is not counted; it is fetched again.
    """
    if not path.exists():
        return 0, 0
    reader = FrameReader()
    reader.receive_data(path.read_bytes())
    reader.receive_end()
    records = size = 0
    while isinstance(raw := reader.next_bytes(), bytes):
        record = parse(raw)
        if isinstance(record, FileHead) and not size:
            size = len(frame(raw))
            continue
        if record.run != run or record.index != records:
            break
        records += 1
        size += len(frame(raw))
    return records, size


_BEGINNING: Final = 5 * MAX_FRAME
"""Bytes that hold the name of the file and the first four records of a run."""


async def fetch(
    client: Client,
    run: int,
    path: Path,
    *,
    follow: bool = False,
    step: Callable[[], None] = lambda: None,
) -> RunEnd | None:
    """Append the records of a run that a file lacks, as they arrive; the file is readable at any moment.

    Args:
        client: talks to the logger.
        run: the run's number.
        path: the file.
        follow: wait for a run that is still being recorded.
        step: called once per record, those that were there already included.

    Returns the end record, or None if the store holds none, or less than the file does. Raises: LinkError, call again
    to go on; DataError if the file holds something else, such as a run of the same number from before the logger lost
    its memory, or if another command is fetching into it.
    """
    with _alone_with(path):
        return await _fetch(client, run, path, follow, step)


@contextmanager
def _alone_with(path: Path) -> Iterator[None]:
    """Nobody else fetches into the file meanwhile. Raises: DataError if somebody does."""
    from filelock import FileLock, Timeout

    # Not beside the file: a session holds what people understand.
    mark = hashlib.sha256(str(path.resolve()).encode()).hexdigest()[:32]
    lock = FileLock(Path(tempfile.gettempdir()) / f"breakyard-{mark}.lock")
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise DataError(
            f"{path}: another command is fetching into it just now; wait until that has ended"
        ) from None
    try:
        yield
    finally:
        lock.release()


async def _fetch(
    client: Client, run: int, path: Path, follow: bool, step: Callable[[], None]
) -> RunEnd | None:
    first, size = kept_part(path, run)
    if path.exists() and not (alike := await begins_alike(client, run, path)):
        raise DataError(
            f"{path}: the logger cannot read the beginning of its run {run} now, so whether this is that run is not "
            "known; fetch again, or move the file away first"
            if alike is None
            else f"{path}: holds another run than the logger's run {run}; move it away and fetch again"
        )
    for _ in range(first):
        step()

    def refused(error: OSError) -> DataError:
        return DataError(f"{path}: cannot be written ({error.strerror or error}); the logger keeps the run")

    try:
        file = path.open("ab", buffering=0)
        file.truncate(size)
    except OSError as error:
        raise refused(error) from error
    with file:

        def put(data: bytes) -> None:
            try:
                left = memoryview(data)
                while left:
                    left = left[file.write(left) :]
            except OSError as error:
                raise refused(error) from error

        def keep(raw: bytes) -> None:
            if file.tell() > LARGEST_RUN:
                raise LinkError(
                    f"run {run} has no end: {LARGEST_RUN >> 20} MB came; is this one of our loggers?"
                )
            put(frame(raw))
            step()

        if not size:
            put(file_head())
        try:
            return await client.read_run(run, keep, first=first, follow=follow)
        except Refused as problem:
            # Records that were followed while they were written may be lost to the logger with its power: then the
            # file holds more than there is to fetch.
            if first and problem.error == Error.NO_SUCH_RECORD:
                return None
            raise


async def begins_alike(client: Client, run: int, path: Path) -> bool | None:
    """True if a file begins with records of the logger's run, or with less than a record; None if that cannot be told.

    Numbers of runs come again when a logger loses its memory; what the record says of the start does not.
    Raises: LinkError.
    """
    if path.stat().st_size <= 2 * MAX_FRAME and kept_part(path, run)[0] == 0:
        return True
    return await holds_beginning(client, run, path)


async def holds_beginning(client: Client, run: int, path: Path) -> bool | None:
    """True if a file begins with records of the logger's run, byte for byte. Raises: LinkError.

    The first record that both have decides: the store may have lost one, or be unable to read it just now. None if it
    reads none of them.
    """
    reader = FrameReader()
    try:
        with path.open("rb") as file:
            reader.receive_data(file.read(_BEGINNING))
    except FileNotFoundError:  # another command has just completed it
        return False
    alike: bool | None = False
    while isinstance(raw := reader.next_bytes(), bytes):
        record = parse(raw)
        if isinstance(record, FileHead):
            continue
        if record.run != run:
            return False
        if isinstance(record, Settings):  # those of another run may be the same
            continue
        alike = None
        stored = await client.read_record(run, record.index)
        if stored is not None:
            return raw == stored
    return alike
