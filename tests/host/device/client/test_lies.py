"""What a logger says that cannot be, a computer's clock that is set meanwhile, a key that nobody shows to have."""

import asyncio
import time
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

from breakyard.device.client import client as client_module
from breakyard.device.client.auth import WrongLogger, key_id, new_key
from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch, holds_beginning
from breakyard.device.client.refused import Refused
from breakyard.device.keys import keep_key, read_keys
from breakyard.device.link.memory import MemoryLink
from breakyard.errors import DataError, LinkLost
from breakyard.wire.commands import pack_results, unpack_arguments
from breakyard.wire.fields import Value
from breakyard.wire.file_head import file_head
from breakyard.wire.frame import NEED_DATA, FrameReader, frame
from breakyard.wire.layout import Command, Error
from breakyard.wire.records import Answer, CommandRecord, Unknown, build

Reply = Callable[[CommandRecord], Iterable[bytes]]


def answer(command: CommandRecord, error: Error = Error.OK, **results: Value) -> bytes:
    """The framed answer to a command."""
    payload = pack_results(Command(command.command), **results) if error == Error.OK else b""
    return frame(
        build(Answer(run=0, index=command.index, command=command.command, error=error, results=payload))
    )


def scripted(reply: Reply) -> tuple[MemoryLink, list[Command]]:
    """A link to a logger that answers as told, and the commands it got."""
    reader, got = FrameReader(), list[Command]()

    def handle(data: bytes) -> Iterable[bytes]:
        reader.receive_data(data)
        while (record := reader.next_record()) is not NEED_DATA:
            assert isinstance(record, CommandRecord)
            got.append(Command(record.command))
            yield from reply(record)

    return MemoryLink(handle), got


def talk(link: MemoryLink, story: Callable[[Client], object]) -> None:
    """Let a client tell its story over a link."""

    async def go() -> None:
        async with Client(link, answer_timeout_s=1.0) as client:
            await story(client)  # type: ignore[misc]

    asyncio.run(go())


def test_a_next_beyond_what_was_asked_for_is_the_loggers_fault() -> None:
    """An answer to READ that goes on at 0xFFFFFFFF ends the link; the user is not blamed for a number of ours."""
    link, _ = scripted(lambda c: [answer(c, next=0xFFFFFFFF, finished=0)])

    with pytest.raises(LinkLost, match="asked for those to"):
        talk(link, lambda client: client.read_run(7, lambda raw: None))


def test_a_read_that_advances_without_records_ends() -> None:
    """A logger that answers every READ and sends nothing is given up after some holes, not followed for ever."""

    def reply(command: CommandRecord) -> Iterable[bytes]:
        asked = unpack_arguments(Command.READ, command.arguments)
        first, count = asked["first"], asked["count"]
        assert isinstance(first, int)
        assert isinstance(count, int)
        return [answer(command, next=first + count, finished=0)]

    link, got = scripted(reply)

    with pytest.raises(LinkLost, match="without sending any records"):
        talk(link, lambda client: client.read_run(7, lambda raw: None))
    assert len(got) < 5000


@pytest.mark.parametrize("error", [Error.BAD_STATE, Error.UNKNOWN_COMMAND])
def test_who_has_a_key_is_not_talked_out_of_it(error: Error) -> None:
    """A logger that says it has no key, or knows no CHALLENGE, hears no command in the open."""
    link, got = scripted(lambda c: [answer(c, error)])

    async def story(client: Client) -> None:
        with pytest.raises(Refused):
            await client.unlock(new_key())
        with pytest.raises(WrongLogger):
            await client.stop()

    talk(link, story)
    assert got == [Command.CHALLENGE]


@pytest.mark.parametrize("step_s", [-3600.0, 3600.0])
def test_a_clock_that_is_set_during_the_exchange_is_noticed(
    step_s: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The span is measured by a clock that nobody sets; a series with a step in it is made again."""
    moments = {"steady": 1000.0, "shift": 5e8, "asked": 0}
    anchors = list[dict[str, Value]]()

    def reply(command: CommandRecord) -> Iterable[bytes]:
        if command.command == Command.SET_CLOCK:
            anchors.append(unpack_arguments(Command.SET_CLOCK, command.arguments))
            return [answer(command)]
        moments["asked"] += 1
        moments["steady"] += 0.01
        if moments["asked"] == 3:
            moments["shift"] += step_s
        device_us = round(moments["steady"] * 1e6)
        moments["steady"] += 0.01
        return [answer(command, now_s=device_us // 1_000_000, now_us=device_us % 1_000_000)]

    class Clock:
        monotonic = staticmethod(time.monotonic)
        time_ns = staticmethod(time.time_ns)
        perf_counter = staticmethod(lambda: moments["steady"])
        time = staticmethod(lambda: moments["steady"] + moments["shift"])

    link, _ = scripted(reply)

    async def story(client: Client) -> None:
        monkeypatch.setattr(client_module, "time", Clock)
        offset = await client.synchronise()
        assert offset.offset_s == pytest.approx(5e8 + step_s, abs=1e-3)
        assert offset.uncertainty_s == pytest.approx(0.01, abs=1e-6)

    talk(link, story)
    assert moments["asked"] == 16
    (anchor,) = anchors
    assert int(anchor["utc_s"]) - int(anchor["device_s"]) == pytest.approx(5e8 + step_s, abs=1)  # type: ignore[arg-type]


def test_a_second_fetch_into_the_same_file_is_told(tmp_path: Path) -> None:
    """While one fetches, another that would write the same file gets one clear line; the file is whole."""
    path = tmp_path / "x.part"
    records = [build(Unknown(run=1, index=i, kind=99, payload=bytes([i]))) for i in range(20)]
    second = list[str]()

    def reply(command: CommandRecord) -> Iterable[bytes]:
        asked = unpack_arguments(Command.READ, command.arguments)
        first, count = int(asked["first"]), int(asked["count"])  # type: ignore[arg-type]
        sent = records[first : first + count]
        next_ = first + len(sent)
        return [*(frame(one) for one in sent), answer(command, next=next_, finished=int(next_ == 20))]

    async def other() -> None:
        link, _ = scripted(reply)
        async with Client(link) as client:
            with pytest.raises(DataError) as caught:
                await fetch(client, 1, path)
            second.append(str(caught.value))

    async def go() -> None:
        link, _ = scripted(reply)
        reached = asyncio.Event()
        async with Client(link) as client:
            first = client.read_run

            async def slowly(*words: object, **more: object) -> object:
                await other()
                reached.set()
                return await first(*words, **more)  # type: ignore[arg-type]

            client.read_run = slowly  # type: ignore[method-assign, assignment]
            await fetch(client, 1, path)
            assert reached.is_set()

    asyncio.run(go())

    assert "another command is fetching into it" in second[0]
    assert path.read_bytes() == file_head() + b"".join(map(frame, records))


def test_a_part_that_another_command_has_just_completed_is_no_error(tmp_path: Path) -> None:
    """It was listed, and is gone when it is opened."""
    link, _ = scripted(lambda c: [])

    async def story(client: Client) -> None:
        assert not await holds_beginning(client, 1, tmp_path / "gone.part")

    talk(link, story)


@pytest.mark.parametrize("unreadable", [(0,), (0, 1), (0, 1, 2, 3, 4)])
@pytest.mark.parametrize("same_run", [True, False])
def test_a_record_that_the_store_cannot_read_is_not_another_run(
    tmp_path: Path, unreadable: tuple[int, ...], same_run: bool
) -> None:
    """The next record that both have decides whether a part and the logger's run are one and the same."""
    held = [build(Unknown(run=1, index=i, kind=99, payload=bytes([i]))) for i in range(4)]
    stored = [build(Unknown(run=1, index=i, kind=99, payload=bytes([i + (not same_run)]))) for i in range(9)]
    path = tmp_path / "x.part"
    path.write_bytes(file_head() + b"".join(map(frame, held)))

    def reply(command: CommandRecord) -> Iterable[bytes]:
        asked = unpack_arguments(Command.READ, command.arguments)
        first, count = int(asked["first"]), int(asked["count"])  # type: ignore[arg-type]
        upto = min(first + count, 9)
        sent = [stored[i] for i in range(first, upto) if i not in unreadable]
        return [*map(frame, sent), answer(command, next=upto, finished=int(upto == 9))]

    async def story(client: Client) -> None:
        await fetch(client, 1, path)

    link, _ = scripted(reply)
    if len(unreadable) > len(held):  # nothing to go by
        with pytest.raises(DataError, match="cannot read the beginning of its run 1"):
            talk(link, story)
        assert path.read_bytes() == file_head() + b"".join(map(frame, held))
    elif same_run:
        talk(link, story)
        assert path.read_bytes() == file_head() + b"".join(map(frame, stored))
    else:
        with pytest.raises(DataError, match="holds another run"):
            talk(link, story)
        assert path.read_bytes() == file_head() + b"".join(map(frame, held))


def test_keys_set_at_once_are_all_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Eight commands that keep a key each at the same time lose none."""
    from concurrent.futures import ThreadPoolExecutor

    monkeypatch.setenv("BREAKYARD_KEYS", str(tmp_path / "keys.json"))
    keys = {f"{number:016x}": new_key() for number in range(8)}
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda pair: keep_key(*pair), keys.items()))

    assert read_keys() == keys


def test_a_logger_that_kept_another_key_is_found_out() -> None:
    """Whoever sets a key hears which one is kept; another one would lock its owner out."""
    key = new_key()

    async def story(client: Client) -> None:
        with pytest.raises(LinkLost, match="kept another key"):
            await client.set_key(key)

    link, _ = scripted(lambda command: [answer(command, key_id=bytes(8))])
    talk(link, story)

    async def sound(client: Client) -> None:
        assert await client.set_key(key) == key_id(key)

    link, _ = scripted(lambda command: [answer(command, key_id=key_id(key))])
    talk(link, sound)
