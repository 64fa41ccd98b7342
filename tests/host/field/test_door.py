"""The door of the field page: what a phone gets, and what a stranger on the same network can do."""

import asyncio
import json
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager

import pytest
from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed, InvalidStatus

from breakyard.errors import UsageError
from breakyard.field.code import PairingCode
from breakyard.field.door import MAX_FROM_ONE, Door, host_is_ours
from breakyard.field.files import page_files
from breakyard.field.messages import MAX_REQUEST, Request, message_of
from breakyard.field.watchers import BACKLOG, Watchers


class House:
    """An open door on this machine, and what was asked behind it."""

    def __init__(self) -> None:
        self.watchers = Watchers()
        self.code = PairingCode()
        self.asked: list[Request] = []
        self.port = 0

    async def carry_out(self, request: Request) -> None:
        self.asked.append(request)

    @asynccontextmanager
    async def opened(self) -> AsyncIterator["House"]:
        door = Door(
            page_files(), self.watchers, self.code, lambda: message_of("hello", link="on"), self.carry_out
        )
        async with door.opened("127.0.0.1", 0) as server:
            self.port = server.sockets[0].getsockname()[1]
            yield self

    def visit(self, origin: str | None = None, host: str | None = None) -> "connect":
        """A WebSocket as our page opens it, or with another Origin or Host."""
        return connect(
            f"ws://127.0.0.1:{self.port}/socket",
            origin=f"http://127.0.0.1:{self.port}" if origin is None else origin or None,  # type: ignore[arg-type]
            additional_headers={} if host is None else {"Host": host},
            compression=None,
        )

    async def get(self, path: str, host: str = "127.0.0.1") -> bytes:
        """What a plain http request brings."""
        reader, writer = await asyncio.open_connection("127.0.0.1", self.port)
        writer.write(f"GET {path} HTTP/1.1\r\nHost: {host}:{self.port}\r\n\r\n".encode())
        answer = await reader.read(1 << 20)
        writer.close()
        return answer


def in_the_house(story: Callable[[House], Awaitable[None]]) -> None:
    """Run a story in front of an open door."""

    async def all_of_it() -> None:
        async with House().opened() as house:
            await story(house)

    asyncio.run(asyncio.wait_for(all_of_it(), 60))


async def ask(page: ClientConnection, **values: object) -> dict[str, object]:
    """Ask something and wait for the answer to it."""
    await page.send(json.dumps(values))
    while True:
        message = json.loads(await page.recv())
        if message["type"] == "answer" and message["id"] == values.get("id"):
            answer: dict[str, object] = message
            return answer


def test_the_page_and_its_parts_are_served_and_nothing_else() -> None:
    """Paths are looked up, never opened: no folder, no file outside the page, no session."""

    async def story(house: House) -> None:
        page = await house.get("/")
        module = await house.get("/wire/frame.mjs?x=1")
        elsewhere = [
            "/../pyproject.toml",
            "/wire/",
            "/wire",
            "/..%2f..%2fetc%2fpasswd",
            "/sw.mjs",
            "/index.html/",
        ]
        answers = [await house.get(path) for path in elsewhere]

        assert page.startswith(b"HTTP/1.1 200")
        assert b'name="breakyard-computer"' in page
        assert b"Content-Security-Policy: default-src 'self'" in page
        assert b"text/javascript" in module
        assert all(answer.startswith(b"HTTP/1.1 404") for answer in answers), answers

    in_the_house(story)


def test_watching_is_free_and_commanding_needs_the_code() -> None:
    """Whoever watches hears the news; a command is carried out with the right code only."""

    async def story(house: House) -> None:
        async with house.visit() as page:
            hello = json.loads(await page.recv())
            without = await ask(page, id=1, do="arm", specimen="S1")
            wrong = await ask(page, id=2, do="stop", code="12345678")
            right = await ask(page, id=3, do="arm", specimen="S1", code=house.code.text)
            house.watchers.tell(b"a record")
            record = await page.recv()

        assert hello == {"type": "hello", "link": "on"}
        assert (without["ok"], wrong["ok"], right["ok"]) == (False, False, True)
        assert "pair first" in str(without["error"])
        assert [(request.do, dict(request.texts)) for request in house.asked] == [("arm", {"specimen": "S1"})]
        assert record == b"a record"

    in_the_house(story)


@pytest.mark.parametrize("origin", ["http://elsewhere.example", "null", "", "http://127.0.0.1:1"])
def test_a_page_from_elsewhere_is_turned_away(origin: str) -> None:
    """A browser says where a page is from, and only ours may open the socket."""

    async def story(house: House) -> None:
        with pytest.raises(InvalidStatus) as refused:
            async with house.visit(origin=origin):
                pass

        assert refused.value.response.status_code == 403

    in_the_house(story)


def test_another_name_that_leads_here_is_turned_away() -> None:
    """DNS rebinding: a stranger's site whose name suddenly leads to this computer gets neither page nor socket."""

    async def story(house: House) -> None:
        page = await house.get("/", host="pulls.example")

        assert page.startswith(b"HTTP/1.1 421")

    in_the_house(story)
    assert host_is_ours("192.168.4.7:8032", set())
    assert host_is_ours("[::1]:8032", set())
    assert host_is_ours("localhost", {"localhost"})
    assert not host_is_ours("localhost.example", {"localhost"})
    assert not host_is_ours("", {"localhost"})


def test_guessing_the_code_is_slow() -> None:
    """Ten wrong codes in a minute, and not even the right one is looked at until the first is a minute old."""
    now = [0.0]
    code = PairingCode(clock=lambda: now[0])
    for _ in range(10):
        with pytest.raises(UsageError, match="another code"):
            code.check("x")
    with pytest.raises(UsageError, match="wait a minute"):
        code.check(code.text)
    now[0] = 61.0
    code.check(code.text)

    assert len(code.text) == 8
    assert code.text.isdigit()


@pytest.mark.parametrize(
    "message",
    ["", "[]", "3", '{"do": "erase", "id": 1}', '{"do": "arm", "id": "1"}', '{"do": "arm", "id": true}',
     '{"do": "note", "id": 1, "name": 7}', '{"do": "note", "id": 1, "name": "S1", "outcome": "won"}', "[" * 4000],
)  # fmt: skip
def test_nonsense_gets_an_answer_and_does_nothing(message: str) -> None:
    """Whatever a page sends, it hears why not, and the connection goes on."""

    async def story(house: House) -> None:
        async with house.visit() as page:
            await page.recv()
            await page.send(message)
            answer = json.loads(await page.recv())
            after = await ask(page, id=9, do="pair", code=house.code.text)

        assert answer["ok"] is False
        assert after["ok"] is True
        assert house.asked == []

    in_the_house(story)


def test_an_oversized_message_ends_that_connection_only() -> None:
    """Nothing larger than a request is read into memory; others do not notice."""

    async def story(house: House) -> None:
        async with house.visit() as good, house.visit() as bad:
            await good.recv()
            await bad.recv()
            await bad.send("x" * (MAX_REQUEST + 1))
            with pytest.raises(ConnectionClosed):
                await bad.recv()
            house.watchers.tell("news")
            assert await good.recv() == "news"

    in_the_house(story)


def test_a_page_that_reads_slowly_is_let_go_and_never_waited_for() -> None:
    """Its backlog is bounded, the others hear everything in time, and telling never blocks."""

    async def story(house: House) -> None:
        slow = socket.create_connection(("127.0.0.1", house.port))
        slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        slow.sendall(
            f"GET /socket HTTP/1.1\r\nHost: 127.0.0.1:{house.port}\r\nOrigin: http://127.0.0.1:{house.port}\r\n"
            "Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
            "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n".encode()
        )
        async with house.visit() as quick:
            await quick.recv()
            while len(house.watchers) < 2:
                await asyncio.sleep(0)
            heard = 0
            news = b"\x01" * 60_000
            for _ in range(4 * BACKLOG):
                house.watchers.tell(news)
                assert await quick.recv() == news
                heard += 1

            assert heard == 4 * BACKLOG
            assert len(house.watchers) == 1
        slow.close()

    in_the_house(story)


def test_a_thousand_connections_and_half_open_ones_do_not_shut_the_door() -> None:
    """One address may hold a few; what is beyond is dropped at once, and a page that was there goes on."""

    async def story(house: House) -> None:
        async with house.visit() as page:
            await page.recv()
            strangers = []
            for _ in range(1000):
                stranger = socket.socket()
                stranger.setblocking(False)
                with pytest.raises(BlockingIOError):
                    stranger.connect(("127.0.0.1", house.port))
                strangers.append(stranger)
                if len(strangers) % 50 == 0:
                    answer = await ask(page, id=len(strangers), do="pair", code=house.code.text)
                    assert answer["ok"] is True
            held = 0
            for stranger in strangers:
                try:
                    held += stranger.recv(1) != b""
                except BlockingIOError:
                    held += 1
                except OSError:
                    continue
                finally:
                    stranger.close()

            assert held < MAX_FROM_ONE

    in_the_house(story)
