"""The client against scripted loggers: what it does with silence, repeats, lies and lost links."""

import asyncio
from collections.abc import Callable

import pytest

from breakyard.device.client.client import Client, Refused
from breakyard.device.link.memory import CutLink, MemoryLink
from breakyard.errors import LinkLost, LinkTimeout
from breakyard.wire.commands import pack_results
from breakyard.wire.frame import NEED_DATA, FrameReader, frame
from breakyard.wire.layout import Command, Error
from breakyard.wire.records import Answer, CommandRecord, build


def logger(answer: Callable[[CommandRecord], list[bytes]]) -> Callable[[bytes], list[bytes]]:
    """A logger that answers each command record by a function."""
    reader = FrameReader()

    def handle(data: bytes) -> list[bytes]:
        reader.receive_data(data)
        out: list[bytes] = []
        while (record := reader.next_record()) is not NEED_DATA:
            assert isinstance(record, CommandRecord)
            out += answer(record)
        return out

    return handle


def reply(record: CommandRecord, error: Error = Error.OK, **results: int) -> bytes:
    command = Command(record.command)
    payload = b"" if error else pack_results(command, **results)
    return frame(build(Answer(run=0, index=record.index, command=command, error=error, results=payload)))


def ask(link: MemoryLink | CutLink, what: Callable[[Client], object], **options: float) -> object:
    async def go() -> object:
        async with Client(link, first_index=7, **{"answer_timeout_s": 0.05, **options}) as client:
            return await what(client)

    return asyncio.run(go())


def test_an_answer_cut_into_single_bytes_is_understood() -> None:
    """The protocol does not care how a link cuts bytes into packets."""
    link = MemoryLink(logger(lambda record: [bytes([b]) for b in reply(record, run=3, seconds_left=60)]))

    assert ask(link, lambda client: client.arm()) == 3


def test_a_silent_logger_is_asked_three_times_with_the_same_index() -> None:
    """A repeat carries the index of the first try, so the logger does not carry it out twice."""
    heard: list[int] = []
    link = MemoryLink(logger(lambda record: heard.append(record.index) or []))

    with pytest.raises(LinkTimeout, match="is the logger on and in range"):
        ask(link, lambda client: client.arm())

    assert heard == [7, 7, 7]


def test_an_answer_to_the_second_try_counts() -> None:
    """One lost answer costs a repeat, nothing else."""
    heard: list[int] = []

    def answer(record: CommandRecord) -> list[bytes]:
        heard.append(record.index)
        return [reply(record, run=0)] if len(heard) == 2 else []

    assert ask(MemoryLink(logger(answer)), lambda client: client.stop()) == 0
    assert heard == [7, 7]


def test_a_refusal_names_command_and_reason() -> None:
    """What the logger refuses is an error of its own, with the reason of the table."""
    link = MemoryLink(logger(lambda record: [reply(record, Error.BAD_STATE)]))

    with pytest.raises(Refused, match="refused ARM: BAD_STATE"):
        ask(link, lambda client: client.arm())


def test_an_answer_to_another_command_is_ignored() -> None:
    """Only the index of a command that waits is accepted."""

    def answer(record: CommandRecord) -> list[bytes]:
        stranger = CommandRecord(run=0, index=record.index + 1, command=record.command)
        return [reply(stranger, run=9, seconds_left=1), reply(record, run=4, seconds_left=1)]

    assert ask(MemoryLink(logger(answer)), lambda client: client.arm()) == 4


def test_garbage_between_records_is_counted_and_skipped() -> None:
    """Text or noise on the line never hides an answer."""

    async def go() -> tuple[int, int]:
        link = MemoryLink(logger(lambda record: [b"\0boot messages\0", reply(record, run=5, seconds_left=1)]))
        async with Client(link, answer_timeout_s=0.05) as client:
            return await client.arm(), client.conversation.damaged

    assert asyncio.run(go()) == (5, 1)


def test_a_list_that_does_not_advance_is_an_error() -> None:
    """A faulty logger that lists the same run for ever does not hang the host."""
    link = MemoryLink(logger(lambda record: [reply(record, run=0, records=1, bytes=1, complete=1)]))

    with pytest.raises(LinkLost, match="is it faulty"):
        ask(link, lambda client: client.runs())


def test_a_cut_link_says_so_until_it_is_connected_again() -> None:
    """After a break every use raises LinkLost; connecting again brings the link back."""

    async def go() -> tuple[int, int]:
        link = CutLink(MemoryLink(logger(lambda record: [reply(record, run=6, seconds_left=1)])), [5])
        async with Client(link, first_index=1, answer_timeout_s=0.05) as client:
            with pytest.raises(LinkLost):
                await client.arm()
        async with Client(link, first_index=100, answer_timeout_s=0.05) as client:
            return await client.arm(), link.cut_count

    assert asyncio.run(go()) == (6, 1)
