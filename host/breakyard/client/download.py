"""A run from the logger's store into a run file, resumed wherever the last attempt stopped."""

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Final

from breakyard.client.client import Client
from breakyard.errors import LinkError, LinkLost
from breakyard.wire.frame import FrameReader, frame
from breakyard.wire.records import RunEnd, parse

Connect = Callable[[], Awaitable[Client]]

PART: Final = ".part"
"""Ending of a run file that is not complete yet."""


def kept_part(path: Path, run: int) -> tuple[int, int]:
    """Return how many records of a run, from index 0 on without a hole, a file holds, and their bytes.

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
        if record.run != run or record.index != records:
            break
        records += 1
        size += len(frame(raw))
    return records, size


async def fetch(client: Client, run: int, path: Path, *, follow: bool = False) -> RunEnd | None:
    """Append the records of a run that a file lacks, as they arrive; the file is readable at any moment.

    Returns the end record, or None if the store holds none. Raises: LinkError; call again to go on.
    """
    first, size = kept_part(path, run)
    with path.open("ab") as file:
        file.truncate(size)

        def keep(raw: bytes) -> None:
            file.write(frame(raw))
            file.flush()

        return await client.read_run(run, keep, first=first, follow=follow)


async def fetch_over_breaks(connect: Connect, run: int, path: Path, *, tries: int = 10) -> RunEnd | None:
    """Fetch a run over a link that breaks: connect again and go on, up to `tries` breaks without any progress.

    Raises: LinkLost when the link brings nothing any more.
    """
    barren = 0
    while True:
        before = kept_part(path, run)
        try:
            async with await connect() as client:
                return await fetch(client, run, path)
        except LinkError as error:
            barren = 0 if kept_part(path, run) > before else barren + 1
            if barren >= tries:
                raise LinkLost(f"the link broke {tries} times without bringing anything: {error}") from error
