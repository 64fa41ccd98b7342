"""A run file that a host makes says first what it is, and is fetched on all the same."""

import asyncio
from collections.abc import Callable
from pathlib import Path

from breakyard.device.client.download import fetch, kept_part
from breakyard.run import read_run
from breakyard.wire.bulk import decode
from breakyard.wire.file_head import file_head
from breakyard.wire.frame import frame
from breakyard.wire.layout import Kind
from breakyard.wire.records import FileHead, Mark, RunEnd, build, parse

RECORDS = [
    build(Mark(run=3, index=index, mark_s=1, mark_us=index, code=0, text=f"mark {index}"))
    for index in range(9)
]


class Store:
    """The client's side of a logger that holds run 3; gives `most` records at a time."""

    def __init__(self, most: int = 99) -> None:
        self.most = most
        self.asked: list[int] = []

    async def read_run(
        self, run: int, keep: Callable[[bytes], None], *, first: int, follow: bool
    ) -> RunEnd | None:
        assert (run, follow) == (3, False)
        self.asked.append(first)
        for raw in RECORDS[first : first + self.most]:
            keep(raw)
        return None

    async def read_record(self, run: int, index: int) -> bytes | None:
        return RECORDS[index] if run == 3 and index < len(RECORDS) else None


def fetched(path: Path, store: Store) -> bytes:
    asyncio.run(fetch(store, 3, path))  # type: ignore[arg-type]
    return path.read_bytes()


def test_a_stray_file_tells_what_it_is(tmp_path: Path) -> None:
    """In any viewer, and by the table that its writer knew; the record belongs to no run."""
    data = fetched(tmp_path / "x.part", Store())
    assert data == file_head() + b"".join(frame(raw) for raw in RECORDS)
    assert b"Breakyard run file, protocol 1" in data[:60]
    head = parse(decode(data).raw(0))
    assert isinstance(head, FileHead)
    assert head.KIND == Kind.FILE
    assert read_run(data).number == 3


def test_it_is_fetched_on_with_a_head_and_without(tmp_path: Path) -> None:
    """Files begun by an earlier host have none, and get none later; a cut end is fetched again."""
    for head in (file_head(), b""):
        path = tmp_path / "x.part"
        for kept in range(len(RECORDS)):
            before = head + b"".join(frame(raw) for raw in RECORDS[:kept])
            path.write_bytes(before + frame(RECORDS[kept])[:7])
            assert kept_part(path, 3) == (kept, len(before))
            store = Store()
            data = fetched(path, store)
            assert store.asked == [kept]
            expected = head if kept or head else file_head()
            assert data == expected + b"".join(frame(raw) for raw in RECORDS)
