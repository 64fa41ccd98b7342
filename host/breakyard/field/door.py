"""Lets phones in: the page over http and the news over a WebSocket, on one port, for whoever is on the same network.

Watching is free; commanding needs the pairing code. What a stranger can send is bounded (size, number of connections,
time for a handshake), a request's path is looked up and never opened, and a page from elsewhere (another Origin, or a
name that leads here by someone else's DNS) is turned away.
"""

import asyncio
import ipaddress
import socket
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager, suppress
from http import HTTPStatus
from typing import Any, Final
from urllib.parse import urlsplit

from websockets.asyncio.server import Server, ServerConnection, serve
from websockets.datastructures import Headers
from websockets.exceptions import ConnectionClosed
from websockets.http11 import Request as HttpRequest
from websockets.http11 import Response

from breakyard.errors import BreakyardError, LinkError
from breakyard.field.code import PairingCode
from breakyard.field.messages import MAX_REQUEST, Request, message_of, request_of
from breakyard.field.watchers import PageWatcher, Watchers

SOCKET_PATH: Final = "/socket"
MAX_CONNECTIONS: Final = 60
MAX_FROM_ONE: Final = 20
"""A browser opens up to six at a time for the page's files; several tabs behind one address are allowed for."""
HANDSHAKE_S: Final = 8.0
SAY_S: Final = 2.0
"""So often something is said, that a page knows that the computer is there."""

CONTENT_POLICY: Final = (
    "default-src 'self'; connect-src 'self' ws: wss:; img-src 'self' blob: data:; "
    "object-src 'none'; base-uri 'none'; frame-ancestors 'none'"
)
"""The page loads nothing from elsewhere, and stands in no other page (W3C Content Security Policy 3)."""

HEADERS: Final = (
    ("Content-Security-Policy", CONTENT_POLICY),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Cache-Control", "no-cache"),
    ("Connection", "close"),
)

CarryOut = Callable[[Request], Awaitable[None]]


def names_of_this_machine() -> set[str]:
    """The names and addresses by which a page of this computer may be asked for."""
    name = socket.gethostname().lower()
    return {"localhost", name, name.split(".")[0], f"{name.split('.')[0]}.local"}


def host_is_ours(host: str, names: set[str]) -> bool:
    """A Host header that names this computer, or an address: no other site's name can lead a browser's page here."""
    try:
        bare = urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return False
    if bare in names:
        return True
    try:
        ipaddress.ip_address(bare)
    except ValueError:
        return False
    return True


def addresses() -> list[str]:
    """This computer's addresses on its networks, the one that leads outside first; the loopback if there is none."""
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, suppress(OSError):
        # An address for documentation (RFC 5737): connecting by UDP sends nothing, it only chooses a way out.
        probe.connect(("192.0.2.1", 9))
        found.append(str(probe.getsockname()[0]))
    with suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    outward = [one for one in dict.fromkeys(found) if not ipaddress.ip_address(one).is_loopback]
    return outward or ["127.0.0.1"]


class Door:
    """The server. `files`: the page's; `hello` makes a watcher's first message; `carry_out` does what was asked."""

    def __init__(
        self,
        files: Mapping[str, tuple[str, bytes]],
        watchers: Watchers,
        code: PairingCode,
        hello: Callable[[], str],
        carry_out: CarryOut,
    ) -> None:
        self._files, self._watchers, self._code = files, watchers, code
        self._hello, self._carry_out = hello, carry_out
        self._names = names_of_this_machine()
        self._open: dict[str, int] = {}

    @asynccontextmanager
    async def opened(self, host: str, port: int) -> AsyncIterator[Server]:
        """Serve at an address; port 0 takes a free one. Raises: LinkError when the port is taken."""
        door = self

        class Counted(ServerConnection):
            """Turns away what is beyond the bounds before a byte of it is read."""

            _from: str | None = None

            def connection_made(self, transport: Any) -> None:
                peer = str((transport.get_extra_info("peername") or ("?",))[0])
                if sum(door._open.values()) >= MAX_CONNECTIONS or door._open.get(peer, 0) >= MAX_FROM_ONE:
                    super().connection_made(transport)
                    transport.abort()
                    return
                self._from = peer
                door._open[peer] = door._open.get(peer, 0) + 1
                super().connection_made(transport)

            def connection_lost(self, exc: Exception | None) -> None:
                if self._from is not None:
                    door._open[self._from] -= 1
                    if not door._open[self._from]:
                        del door._open[self._from]
                    self._from = None
                super().connection_lost(exc)

        try:
            server = await serve(
                self._talk,
                host,
                port,
                process_request=self._answer,
                create_connection=Counted,
                max_size=MAX_REQUEST,
                max_queue=4,
                open_timeout=HANDSHAKE_S,
                ping_interval=10,
                ping_timeout=20,
                close_timeout=1,
                compression=None,
                logger=_silent(),
            )
        except OSError as error:
            raise LinkError(f"port {port}: {error.strerror or error}; choose another with --port") from error
        try:
            yield server
        finally:
            server.close()
            await server.wait_closed()

    def _answer(self, connection: ServerConnection, request: HttpRequest) -> Response | None:
        host = request.headers.get("Host", "")
        if not host_is_ours(host, self._names):
            return _response(
                HTTPStatus.MISDIRECTED_REQUEST, "text/plain", b"ask for this computer by its address\n"
            )
        path = urlsplit(request.path).path
        if path == SOCKET_PATH:
            # Only our own page may open it: a browser tells where a page is from, and a page cannot change that.
            origin = urlsplit(request.headers.get("Origin", ""))
            if origin.netloc != host or origin.scheme not in ("http", "https"):
                return _response(
                    HTTPStatus.FORBIDDEN, "text/plain", b"only the page of this computer may watch\n"
                )
            return None
        if (found := self._files.get(path)) is None:
            return _response(HTTPStatus.NOT_FOUND, "text/plain", b"there is no such page here\n")
        return _response(HTTPStatus.OK, *found)

    async def _talk(self, connection: ServerConnection) -> None:
        with self._watchers.joined(self._hello()) as watcher:
            sending = asyncio.create_task(self._send(connection, watcher))
            behind = asyncio.create_task(watcher.behind.wait())
            hearing = asyncio.create_task(self._hear(connection, watcher))
            try:
                await asyncio.wait({sending, behind, hearing}, return_when=asyncio.FIRST_COMPLETED)
            finally:
                for task in (sending, behind, hearing):
                    task.cancel()
                await asyncio.gather(sending, behind, hearing, return_exceptions=True)
                if watcher.behind.is_set():
                    connection.transport.abort()

    async def _send(self, connection: ServerConnection, watcher: PageWatcher) -> None:
        try:
            while True:
                try:
                    # Until Python 3.12 wait_for may swallow a cancellation.
                    async with asyncio.timeout(SAY_S):
                        message = await watcher.waiting.get()
                except TimeoutError:
                    message = message_of("logger")
                await connection.send(message)
        except ConnectionClosed:
            return

    async def _hear(self, connection: ServerConnection, watcher: PageWatcher) -> None:
        try:
            async for message in connection:
                watcher.put(await self._done(message))
        except ConnectionClosed:
            return

    async def _done(self, message: str | bytes) -> str:
        number = None
        try:
            request = request_of(message)
            number = request.id
            self._code.check(request.code)
            if request.do != "pair":
                await self._carry_out(request)
        except BreakyardError as error:
            return message_of("answer", id=number, ok=False, error=str(error))
        return message_of("answer", id=number, ok=True)


def _response(status: HTTPStatus, kind: str, body: bytes) -> Response:
    headers = Headers([("Content-Type", kind), ("Content-Length", str(len(body))), *HEADERS])
    return Response(status.value, status.phrase, headers, body)


def _silent() -> Any:
    """Strangers' broken handshakes are no news for the terminal."""
    import logging

    quiet = logging.getLogger("breakyard.field")
    quiet.addHandler(logging.NullHandler())
    quiet.propagate = False
    return quiet
