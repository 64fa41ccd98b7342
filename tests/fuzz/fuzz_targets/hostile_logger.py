"""A logger that answers what it likes, to what talks to one: nothing outside the folder, nothing that
rewrites the terminal, one clear line at worst.

Each message of the host is answered by the next piece of the data, or by a sound answer with results from the data;
when it is used up the link breaks.
"""

import asyncio
import os
from contextlib import asynccontextmanager, contextmanager
from unittest import mock

from breakyard.device import fetching, keys, reach
from breakyard.device.keeping import Keeper
from breakyard.device.room import ask_room
from breakyard.device.selftest import Procedure, kept, run
from breakyard.document import to_plain
from breakyard.errors import BreakyardError, LinkLost
from breakyard.report.words.printable import printable
from breakyard.wire.frame import NEED_DATA, FrameReader
from breakyard.wire.layout import Kind
from fuzz_targets.feeding import Cursor, data_of, records, stream_of, stuffed, vectors, with_checksum
from fuzz_targets.places import folder

MAX_LEN = 900
IDENTITY = next(record for record in records() if record[0] == Kind.IDENTITY)
STATUS = next(record for record in records() if record[0] == Kind.STATUS)
CONTROL = {chr(number) for number in (*range(32), *range(127, 160))} - {"\n"}
ACTIONS = ("info", "runs", "fetch", "time", "stop", "selftest")


def seeds():
    whole = next(bytes.fromhex(case["bytes"]) for case in vectors("streams") if case["id"] == "whole")
    run = data_of(whole)
    size = (len(run) & 255, len(run) >> 8)
    found = [bytes([action]) + bytes([0, 1]) * 12 for action in range(len(ACTIONS))]
    fetch = bytes([2, 0, 1, 0, 9, 1, 0, 9, 0, 0, 0, 8, 0, 0, 1])
    found.append(fetch + bytes([1, *size]) + run + bytes([0, 5, 4, 0, 0, 0, 1]))
    found.append(bytes([2, 0, 0, 1, *size]) + run)
    text = bytes([1, 1, 0, 0, 0, 0, 0, 0]) + IDENTITY[8:21] + b"\x05\x1b[2Jx\x01\n\x01\r"
    found.append(bytes([0, 1, len(text) + 2, 0, 1, len(text)]) + text)
    return found


class Link:
    """Plays the logger from the data."""

    max_packet = 4096
    read_records = 64

    def __init__(self, cursor):
        self.cursor = cursor
        self.reader = FrameReader()
        self.waiting = []
        self.closed = False

    async def connect(self):
        pass

    async def disconnect(self):
        pass

    async def send(self, data):
        self.reader.receive_data(data)
        while (command := self.reader.next_record()) is not NEED_DATA:
            self._answer(command)

    def _answer(self, command):
        cursor = self.cursor
        if not cursor.more:
            self.closed = True
            return
        if cursor.number() & 1:
            self.waiting.append(stream_of(cursor.take(cursor.number(2) % 800)))
        results = cursor.take(cursor.number() & 127) if cursor.more else b"\x01"
        head = b"\x0a\x01\0\0" + command.index.to_bytes(4, "little") + bytes([command.command, 0])
        self.waiting += [stuffed(IDENTITY), stuffed(STATUS), stuffed(with_checksum(head + results[:200]))]

    async def receive(self):
        while not self.waiting:
            if self.closed:
                raise LinkLost("the data is used up")
            await asyncio.sleep(0)
        return self.waiting.pop(0) or b"\0"


def try_one(data):
    cursor = Cursor(data)
    action = ACTIONS[cursor.number() % len(ACTIONS)]
    into = folder() / "kept"
    into.mkdir(exist_ok=True)
    for path in into.iterdir():
        path.unlink()
    before = {path for path in folder().iterdir() if path != into}
    os.environ[keys.KEYS_VARIABLE] = str(into / "keys.json")
    said = []

    @asynccontextmanager
    async def make_link(way, *_):
        yield Link(cursor)

    try:
        with (
            mock.patch.object(reach, "make_link", make_link),
            mock.patch.object(fetching, "make_link", make_link),
            mock.patch.object(reach, "PAUSES_S", (0.0,)),
        ):
            asyncio.run(_do(action, into, said))
    except BreakyardError as error:
        assert str(error)
        said.append(str(error))
    assert not CONTROL & set(printable("\n".join(map(str, said))))
    assert {path for path in folder().iterdir() if path != into} == before
    for path in into.iterdir():
        assert path.name.startswith("logger-") or path.name == "selftests.json"
        assert path.stat().st_size <= 40000 + 60 * len(data)


@contextmanager
def quiet(label, total):
    yield lambda piece, by=1: None


async def _do(action, into, said):
    if action == "fetch":
        job = fetching.FetchJob(Keeper(into), [], False)
        await fetching.fetch_runs("x", job, quiet)
        said += [job.kept(), job.done]
        return
    async with reach.reach_way("x") as client:
        said += [client.identity, client.settings, client.name]
        if action == "info":
            said.append(await ask_room(client))
        elif action == "runs":
            said.append(await client.runs())
        elif action == "time":
            said.append(await client.synchronise())
        elif action == "stop":
            said.append(await client.stop())
        else:
            report = await run(
                client, Procedure(press=None, why_not="nobody is there", slow=False, tell=said.append)
            )
            document = {"time": "2026-05-03T10:00:00+00:00", **to_plain(report)}
            said += [document, kept.keep(document), kept.shunt_moved(document)]
