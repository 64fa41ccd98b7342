"""What a faulty or hostile logger can do to the host: nothing but waste its time."""

import asyncio
from collections.abc import Iterable
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from breakyard.device.client import download
from breakyard.device.client.client import Client
from breakyard.device.client.conversation import MAX_KEPT_LINES, MAX_KEPT_RECORDS, Conversation
from breakyard.device.client.download import fetch
from breakyard.device.client.read_window import ReadWindow
from breakyard.device.link.memory import MemoryLink
from breakyard.errors import DataError, LinkError
from breakyard.wire.commands import pack_results, unpack_arguments
from breakyard.wire.file_head import file_head
from breakyard.wire.frame import NEED_DATA, FrameReader, frame
from breakyard.wire.layout import FIELDS, Command, Error, Kind
from breakyard.wire.records import Answer, CommandRecord, LogLine, Mark, RunEnd, Status, build

STATUS = Status(run=0, index=0, **dict.fromkeys((name for name, _ in FIELDS[Kind.STATUS]), 0))
TOTALS = dict.fromkeys((name for name, kind in FIELDS[Kind.RUN_END] if kind != "bytes32"), 0)


def mark(run: int, index: int) -> bytes:
    return build(Mark(run=run, index=index, mark_s=index, mark_us=0, code=0, text="x" * (index % 40)))


def test_a_babbling_logger_fills_no_memory() -> None:
    """Log lines, loose records and records nobody asked for are kept to a fixed number, answers not at all."""
    conversation = Conversation()
    line = frame(build(LogLine(run=0, index=0, level=0, log_s=0, log_us=0, text="x" * 60)))
    answer = frame(build(Answer(run=0, index=7, command=1, error=0, results=b"")))
    for index in range(3 * MAX_KEPT_RECORDS):
        conversation.receive(frame(mark(5, index)))
        if index < 2 * MAX_KEPT_LINES:
            conversation.receive(line + answer + frame(build(STATUS)))
    conversation.receive(b"\1" * 3_000_000)

    assert len(conversation.stored) == MAX_KEPT_RECORDS
    assert len(conversation.log) == MAX_KEPT_LINES
    assert not conversation.answers


@settings(max_examples=200)
@given(st.lists(st.binary(max_size=400), max_size=20))
def test_any_bytes_leave_the_conversation_well(chunks: list[bytes]) -> None:
    """Whatever came, a sound answer behind it is understood."""
    conversation = Conversation()
    index, _ = conversation.command(Command.STOP)
    for chunk in chunks:
        conversation.receive(chunk)
    conversation.receive(
        b"\0" + frame(build(Answer(run=0, index=index, command=5, error=0, results=b"\1\0")))
    )

    answer = conversation.take_answer(index)
    assert answer is not None
    assert answer.results == b"\1\0"


class Careless:
    """A logger that holds one run and sends its records lost, doubled, mixed and damaged, as drawn."""

    def __init__(self, records: list[bytes], faults: list[str]) -> None:
        self.records = records
        self.faults = iter(faults)
        self.reader = FrameReader()

    def __call__(self, data: bytes) -> Iterable[bytes]:
        self.reader.receive_data(data)
        out: list[bytes] = []
        while (record := self.reader.next_record()) is not NEED_DATA:
            assert isinstance(record, CommandRecord)
            asked = unpack_arguments(Command.READ, record.arguments)
            first, count = int(asked["first"]), int(asked["count"])  # type: ignore[arg-type]
            part = self.records[first : first + count]
            sent = [frame(one) for one in part]
            match next(self.faults, ""):
                case "lose":
                    del sent[len(sent) // 2 :][:1]
                    sent = sent[: len(sent) // 2] + sent[len(sent) // 2 + 1 :]
                case "double":
                    sent = [one for one in sent for _ in range(2)]
                case "reverse":
                    sent.reverse()
                case "damage":
                    sent = [bytes([one[0], *one[1:5], one[5] ^ 1, *one[6:]]) for one in sent]
                case "other":
                    sent += [frame(mark(9, index)) for index in range(5)]
            following = first + len(part)
            results = pack_results(Command.READ, next=following, finished=int(following >= len(self.records)))
            error = Error.OK if first <= len(self.records) else Error.NO_SUCH_RECORD
            out += [*sent, frame(build(Answer(
                run=0, index=record.index, command=Command.READ, error=error, results=results if not error else b"",
            )))]  # fmt: skip
        return out


@settings(max_examples=100, deadline=None)
@given(st.lists(st.sampled_from(("", "lose", "double", "reverse", "damage", "other")), max_size=12))
def test_a_run_arrives_whole_however_it_was_sent(faults: list[str]) -> None:
    """Lost, doubled, reversed, damaged, mixed with another run's: in the end each record once and in order."""
    records = [mark(3, index) for index in range(300)]
    records.append(build(RunEnd(run=3, index=300, sha256=bytes(32), **TOTALS)))
    kept: list[bytes] = []

    async def go() -> RunEnd | None:
        async with Client(MemoryLink(Careless(records, faults)), first_index=1, answer_timeout_s=5) as client:
            return await client.read_run(3, kept.append)

    end = asyncio.run(go())
    assert end is not None
    assert kept == records


class Holed(Careless):
    """A logger whose store has lost some records: it passes over them, however often they are asked for."""

    def __init__(self, records: list[bytes], lost: set[int]) -> None:
        super().__init__(records, [])
        self.lost = {frame(records[index]) for index in lost}

    def __call__(self, data: bytes) -> Iterable[bytes]:
        return [one for one in super().__call__(data) if one not in self.lost]


@pytest.mark.parametrize("lost", [{10}, {0}, {40}, {3, 4, 5, 30}, set(range(5, 40)), set(range(41))])
def test_what_the_store_has_lost_is_left_out(lost: set[int], tmp_path: Path) -> None:
    """All the rest arrives, in order, and once more when fetched again; nothing is asked for without end."""
    records = [mark(3, index) for index in range(40)]
    records.append(build(RunEnd(run=3, index=40, sha256=bytes(32), **TOTALS)))
    path = tmp_path / "a.part"

    async def go() -> RunEnd | None:
        async with Client(MemoryLink(Holed(records, lost)), first_index=1, answer_timeout_s=5) as client:
            return await fetch(client, 3, path)

    for _ in range(2):
        end = asyncio.run(go())
        assert (end is None) == (40 in lost)
        assert path.read_bytes() == file_head() + b"".join(
            frame(one) for index, one in enumerate(records) if index not in lost
        )


def test_a_run_without_an_end_does_not_fill_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One error once it is larger than any logger's flash; what came is kept."""
    monkeypatch.setattr(download, "LARGEST_RUN", 5000)
    path = tmp_path / "a.part"

    async def go() -> None:
        endless = Careless([mark(3, index) for index in range(1000)], [])
        async with Client(MemoryLink(endless), first_index=1, answer_timeout_s=5) as client:
            await fetch(client, 3, path)

    with pytest.raises(LinkError, match="has no end"):
        asyncio.run(go())
    assert 5000 < path.stat().st_size < 6000


def test_two_reads_are_under_way_and_no_more() -> None:
    """The next one begins where the last one ends; a hole makes all of them anew from the record that is missing."""
    window = ReadWindow(3, 10, 4, False)
    firsts = []
    while (first := window.next_first()) is not None:
        firsts.append(first)
        window.sent(len(firsts), first)
    assert firsts == [10, 14]
    window.answered(1, 14, False)
    assert window.next_first() == 10  # nothing came of it

    assert window.waiting_for == ()


def test_a_part_of_another_run_is_never_continued(tmp_path: Path) -> None:
    """The same number, another start: the file is left as it is."""
    path = tmp_path / "a.part"
    old = b"".join(frame(mark(3, index)) for index in range(20))
    path.write_bytes(old)
    other = [build(Mark(run=3, index=i, mark_s=99, mark_us=0, code=0, text="")) for i in range(30)]

    async def go() -> None:
        async with Client(MemoryLink(Careless(other, [])), first_index=1, answer_timeout_s=5) as client:
            await fetch(client, 3, path)

    with pytest.raises(DataError, match="holds another run"):
        asyncio.run(go())
    assert path.read_bytes() == old


def test_what_a_logger_lost_with_its_power_stays_in_the_file(tmp_path: Path) -> None:
    """Twenty records were followed live, then the power went: the logger has twelve and an end. The file keeps all."""
    path = tmp_path / "a.part"
    old = b"".join(frame(mark(3, index)) for index in range(20))
    path.write_bytes(old)
    end = build(RunEnd(run=3, index=12, **TOTALS, sha256=bytes(32)))
    cut = [*(mark(3, index) for index in range(12)), end]

    async def go() -> object:
        async with Client(MemoryLink(Careless(cut, [])), first_index=1, answer_timeout_s=5) as client:
            return await fetch(client, 3, path)

    assert asyncio.run(go()) is None
    assert path.read_bytes() == old


def test_an_answer_that_makes_no_sense_is_an_error_of_the_link() -> None:
    """Results that are too short end in one clear error."""

    def short(data: bytes) -> list[bytes]:
        reader = FrameReader()
        reader.receive_data(data)
        record = reader.next_record()
        assert isinstance(record, CommandRecord)
        return [frame(build(Answer(run=0, index=record.index, command=record.command, error=0, results=b"")))]

    async def go() -> None:
        async with Client(MemoryLink(short), first_index=1, answer_timeout_s=1) as client:
            await client.arm()

    with pytest.raises((LinkError, DataError)):
        asyncio.run(go())
