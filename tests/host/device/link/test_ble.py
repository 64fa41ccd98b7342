"""The radio link against a bleak that misbehaves as systems do; the real one is in tests/chain_ble."""

import asyncio
from collections.abc import Awaitable, Callable
from types import SimpleNamespace
from typing import Any, ClassVar

import pytest

pytest.importorskip("bleak", reason="the package bleak is the way to radio")

import bleak

from breakyard.device.link import ble
from breakyard.device.link.ble import COMPANY, SERVICE_UUID, BleLink, Nearby, find, matches
from breakyard.errors import LinkError, LinkLost, LinkTimeout, UsageError


def seen(name: str | None = "Breakyard-0a0b0c0d", data: bytes = b"\x01\x02\x63", rssi: int = -60) -> Any:
    return SimpleNamespace(local_name=name, manufacturer_data={COMPANY: data} if data else {}, rssi=rssi)


class FakeScanner:
    """Sees what the test put in the air."""

    air: ClassVar[dict[str, Any]] = {}

    @classmethod
    async def discover(cls, seconds: float, *, return_adv: bool, service_uuids: list[str]) -> Any:
        assert return_adv
        assert service_uuids == [SERVICE_UUID]
        return {at: (SimpleNamespace(address=at, name=None), one) for at, one in cls.air.items()}

    @classmethod
    async def find_device_by_filter(cls, wanted: Any, seconds: float, *, service_uuids: list[str]) -> Any:
        for at, one in cls.air.items():
            device = SimpleNamespace(address=at, name=None)
            if wanted(device, one):
                return device
        return None


class FakeClient:
    """Keeps every callback it was ever given, and calls all of them."""

    made: ClassVar[list["FakeClient"]] = []
    refuse = 0
    answers = True

    def __init__(self, device: Any, **options: Any) -> None:
        self.options = options
        self.writes: list[bytes] = []
        self.ended = False
        self.stuck = asyncio.Event()
        self.services = SimpleNamespace(
            get_characteristic=lambda _: SimpleNamespace(max_write_without_response_size=self.size)
        )
        self.size = 20
        FakeClient.made.append(self)

    async def connect(self) -> None:
        if FakeClient.refuse:
            FakeClient.refuse -= 1
            raise bleak.exc.BleakError("try again")

    async def start_notify(self, uuid: str, callback: Any, **more: Any) -> None:
        assert more == {"bluez": {"use_start_notify": False}}
        self.callback = callback

    async def write_gatt_char(self, uuid: str, data: bytes, *, response: bool) -> None:
        assert response
        if not FakeClient.answers:
            self.stuck.set()
            await asyncio.Event().wait()  # for good
        self.writes.append(bytes(data))

    async def disconnect(self) -> None:
        self.ended = True


@pytest.fixture
def radio(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bleak, "BleakScanner", FakeScanner)
    monkeypatch.setattr(bleak, "BleakClient", FakeClient)
    FakeScanner.air = {"AA": seen()}
    FakeClient.made, FakeClient.refuse, FakeClient.answers = [], 0, True


def run(story: Callable[[], Awaitable[None]]) -> None:
    asyncio.run(story())  # type: ignore[arg-type]


def test_a_stranger_s_name_never_reaches_the_screen(radio: None) -> None:
    """Only the eight hex digits of ours are taken from what is advertised; anything else is no name."""
    FakeScanner.air = {
        "AA": seen("Breakyard-\x1b[2Jevil", b"\x01\xfe\xff", -50),
        "BB": seen(None, b"", -70),
        "CC": seen("Breakyard-0A0B0C0D", b"\x02\x00\x00\x00", -60),
    }

    async def story() -> None:
        one, other, third = await find(0.1)
        assert (one.name, one.serial_end, one.state, one.battery_percent) == ("(no name)", "", 254, None)
        assert (other.name, third.name) == ("Breakyard-0a0b0c0d", "(no name)")
        assert (other.state, third.state) == (None, None)

    run(story)


@pytest.mark.parametrize(
    ("typed", "fits"),
    [
        ("", True),
        ("0d", True),
        ("0A0B0C0D", True),
        ("e6614103e70a0b0c0d", True),
        ("Breakyard-0a0b0c0d", True),
        ("0e", False),
        ("0a0b0c0d00", False),
    ],
)
def test_a_serial_number_may_be_given_in_part(typed: str, fits: bool) -> None:
    """The whole of it, or its end, in capitals or not."""
    one = Nearby("Breakyard-0a0b0c0d", "0a0b0c0d", 0, None, -60, None)  # type: ignore[arg-type]
    assert matches(one, typed) is fits


def test_several_loggers_must_be_told_apart(radio: None) -> None:
    """No guess which of two is meant; none at all is another error."""
    FakeScanner.air = {"AA": seen(), "BB": seen("Breakyard-01020304")}

    async def story() -> None:
        with pytest.raises(UsageError, match="01020304, 0a0b0c0d"):
            await BleLink(scan_s=0.1).connect()
        with pytest.raises(LinkTimeout, match="no logger 99 in range"):
            await BleLink("99", scan_s=0.1).connect()
        await BleLink("0304", scan_s=0.1).connect()

    run(story)


def test_the_callback_of_an_earlier_connection_is_deaf(radio: None) -> None:
    """After connecting again, notifications come once, whoever else is still subscribed (bleak issues 83, 2002)."""

    async def story() -> None:
        link = BleLink("0d")
        await link.connect()
        await link.connect()
        first, second = FakeClient.made
        assert first.ended
        for client in (first, second):
            client.callback(None, bytearray(b"once"))
        assert await link.receive() == b"once"
        second.callback(None, bytearray(b"then"))
        assert await link.receive() == b"then"
        await link.disconnect()

    run(story)


def test_the_size_of_a_packet_follows_the_mtu(radio: None) -> None:
    """Read anew for each packet, as some systems know it late; never more than a value may have."""

    async def story() -> None:
        link = BleLink("0d")
        await link.connect()
        assert link.max_packet == 20
        FakeClient.made[0].size = 244
        assert link.max_packet == 244
        FakeClient.made[0].size = 600
        assert link.max_packet == 512
        assert FakeClient.made[0].options["winrt"] == {"use_cached_services": False}
        await link.disconnect()
        assert link.max_packet == 20

    run(story)


def test_a_link_that_has_just_ended_is_lost_and_nothing_else(radio: None) -> None:
    """bleak has no services any more once the connection ended (BleakError), a moment before it tells so."""

    async def story() -> None:
        link = BleLink("0a0b0c0d")
        await link.connect()
        client = FakeClient.made[0]

        def gone(_: str) -> None:
            raise bleak.exc.BleakError("Service Discovery has not been performed yet")

        client.services.get_characteristic = gone
        assert link.max_packet == 20
        await link.disconnect()
        with pytest.raises(LinkLost):
            await link.send(b"x")

    run(story)


def test_a_first_attempt_may_fail(radio: None) -> None:
    """Three attempts, then an error that says what to do."""

    async def story() -> None:
        FakeClient.refuse = 2
        link = BleLink("0d")
        await link.connect()
        await link.disconnect()
        FakeClient.refuse = 3
        with pytest.raises(LinkError, match="cannot connect to Breakyard-0a0b0c0d: try again"):
            await link.connect()

    run(story)


def test_a_heartbeat_is_written_and_silence_is_a_loss(radio: None) -> None:
    """An empty frame now and then; when it is not taken any more, the link is lost without the system's word."""

    async def story() -> None:
        link = BleLink("0d", lost_after_s=0.4)
        await link.connect()
        while not FakeClient.made[0].writes:
            await asyncio.sleep(0.01)
        assert FakeClient.made[0].writes[0] == b"\0"
        FakeClient.answers = False
        with pytest.raises(LinkLost, match="nothing came"):
            await link.receive()
        with pytest.raises(LinkLost):
            await link.send(b"x")
        await link.disconnect()

    run(story)


def test_a_write_that_never_ends_does_not_outlast_the_link(radio: None) -> None:
    """The system says that the logger is gone while a write is under way."""

    async def story() -> None:
        link = BleLink("0d", lost_after_s=1000)
        await link.connect()
        FakeClient.answers = False
        sending = asyncio.create_task(link.send(b"x"))
        await FakeClient.made[0].stuck.wait()
        FakeClient.made[0].options["disconnected_callback"](None)
        with pytest.raises(LinkLost, match="out of range"):
            await sending
        await link.disconnect()

    run(story)


def test_a_logger_that_never_stops_does_not_fill_the_memory(
    radio: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """More than was asked for, by far: the link is ended."""

    async def story() -> None:
        link = BleLink("0d")
        await link.connect()
        for _ in range(10000):
            FakeClient.made[0].callback(None, bytearray(512))

        async def take_all() -> None:
            nonlocal held
            while True:
                held += len(await link.receive())

        held = 0
        with pytest.raises(LinkLost, match="more than it was asked for"):
            await take_all()
        assert held <= 4 << 20
        await link.disconnect()

    run(story)


def test_what_is_not_a_logger_s_service_is_refused(radio: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """It advertises our service but does not have it."""
    monkeypatch.setattr(ble, "CONNECT_TRIES", 1)

    async def story() -> None:
        made = FakeClient.__init__

        def without(self: FakeClient, *words: Any, **options: Any) -> None:
            made(self, *words, **options)
            self.services = SimpleNamespace(get_characteristic=lambda _: None)

        monkeypatch.setattr(FakeClient, "__init__", without)
        with pytest.raises(LinkError, match="does not have a logger's service"):
            await BleLink("0d").connect()

    run(story)
