"""Firmware, virtual radio, BlueZ's D-Bus face and bleak itself: whatever the link does, the run arrives whole.

A run's reference is the same run as the cable gives it. Device time is virtual; nothing is timed by the clock on the
wall.
"""

import asyncio
import json
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from breakyard.device.client.client import Refused
from breakyard.device.client.download import fetch, kept_part
from breakyard.device.keys import KEYS_VARIABLE
from breakyard.device.link.ble import COMMAND_UUID, BleLink, find
from breakyard.device.reach import reach
from breakyard.errors import LinkError, LinkLost, WrongLogger
from breakyard.run import read_run
from breakyard.wire.layout import LINK_FIRST_WORD, LINK_SILENCE, Access, Error, State

from .conftest import KEY, PATIENCE_S, RATE_HZ, SERIAL, BusyLink, Chain

Tell = Callable[..., None]
Feed = Callable[[float], Path]


def test_a_scan_names_the_logger_its_state_and_no_more(chain: Tell) -> None:
    """Found by its service and named by its serial number; the state in the advertisement follows the logger."""

    async def story(chain: Chain) -> None:
        (before,) = await find(0.5)
        async with chain.over_cable() as client:
            await client.arm()
        await chain.device_time(3)
        (armed,) = await find(0.5)

        assert before.serial_end == armed.serial_end == SERIAL[-8:]
        assert (before.state, armed.state) == (State.IDLE, State.ARMED)
        assert before.battery_percent is None

    chain(story)


@pytest.mark.parametrize("access", [Access.KEY_ONLY, Access.STATUS])
def test_a_logger_that_tells_strangers_nothing_is_met_by_its_owner(
    chain: Tell, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, access: Access
) -> None:
    """Under KEY_ONLY no serial number is in the air; who has its key, among others, is told under a seal."""
    keys = tmp_path / "keys.json"
    keys.write_text(json.dumps({"00" * 7 + "09": "05" * 32, SERIAL: KEY.hex(), "00" * 7 + "0a": "06" * 32}))
    monkeypatch.setenv(KEYS_VARIABLE, str(keys))
    secret = access == Access.KEY_ONLY

    async def story(chain: Chain) -> None:
        async with chain.over_cable() as client:
            await client.set_key(KEY, access)
        await chain.device_time(2)
        (near,) = await find(0.5)
        assert near.serial_end == ("" if secret else SERIAL[-8:])
        assert near.name == ("Breakyard" if secret else f"Breakyard-{SERIAL[-8:]}")
        async with chain.client(key=None) as stranger:
            assert any((await stranger.hello()).serial) is not secret
        for wanted in ("", SERIAL, SERIAL[-8:]):
            async with reach(BusyLink(wanted, lost_after_s=PATIENCE_S, scan_s=0.5)) as client:
                assert client.identity is not None
                assert client.identity.serial.hex() == SERIAL
                assert await client.stop() == 0
        if secret:  # another one of ours was asked for, and this one does not tell that it is not the one
            with pytest.raises(WrongLogger, match="not the one you named"):
                async with reach(BusyLink("00" * 7 + "09", lost_after_s=PATIENCE_S, scan_s=0.5)):
                    pass
            keys.write_text(json.dumps({"00" * 7 + "09": "05" * 32}))
            with pytest.raises(WrongLogger, match="none of the keys"):
                async with reach(BusyLink("", lost_after_s=PATIENCE_S, scan_s=0.5)):
                    pass

    chain(story)


@pytest.mark.parametrize("mtu", [23, 185, 247, 517])
def test_any_mtu_carries_a_run_byte_for_byte(chain: Tell, feed: Feed, tmp_path: Path, mtu: int) -> None:
    """Packets of 20, 182, 244 and 512 bytes; the records do not care."""
    path = tmp_path / "air.run"

    async def story(chain: Chain) -> None:
        await chain.logger.load(feed(20))
        run = await chain.record(10)
        async with chain.client() as client:
            identity = await client.hello()
            assert identity.serial.hex() == SERIAL
            assert client.link.max_packet == min(mtu - 3, 512)
            await fetch(client, run, path)

        assert path.read_bytes() == await chain.whole(run, tmp_path)
        # A board looks for words every 40 ms, so a run begins and ends a few samples after it was told to.
        assert len(read_run(path.read_bytes()).counts) >= 10 * RATE_HZ - RATE_HZ // 10
        assert chain.air.largest_notification <= mtu - 3

    chain(story, host_mtu=mtu)


def test_ten_minutes_live_at_150_samples_a_second_lose_nothing(
    chain: Tell, feed: Feed, tmp_path: Path
) -> None:
    """Followed while it is recorded, with live numbers in between: at the end the file is there, complete."""
    path = tmp_path / "live.run"
    seconds = 600

    async def story(chain: Chain) -> None:
        await chain.logger.load(feed(seconds + 30))
        statuses = 0
        async with chain.client() as client:
            await client.hello()
            run = await client.start()
            notifications, began_ms = chain.air.notifications, chain.logger.now_ms
            follow = asyncio.create_task(fetch(client, run, path, follow=True))
            await client.stream_status(True)
            for _ in range(seconds // 5):
                await chain.device_time(5)
                statuses += (await client.wait_for_status()).state == State.RECORDING
            passed_s = (chain.logger.now_ms - began_ms) / 1000  # more than was waited for, on a busy machine
            a_second = (chain.air.notifications - notifications) / passed_s
            await client.stop()
            end = await follow

        assert end is not None
        assert end.samples >= seconds * RATE_HZ - RATE_HZ // 10
        assert end.missed == 0
        assert statuses == seconds // 5
        assert 4 <= a_second <= 10
        assert path.read_bytes() == await chain.whole(run, tmp_path)
        run_read = read_run(path.read_bytes())
        assert run_read.loss.complete
        assert len(run_read.counts) == end.samples

    chain(story, slice_s=0.25)


@pytest.mark.parametrize("overflow", ["enomem", "heap"])
def test_a_stack_that_is_full_loses_nothing_and_stays_bounded(
    chain: Tell, feed: Feed, tmp_path: Path, overflow: str
) -> None:
    """Four buffers, every third connection event lost in noise: ENOMEM is borne, an endless queue is not filled."""
    path = tmp_path / "air.run"

    async def story(chain: Chain) -> None:
        await chain.logger.load(feed(60))
        run = await chain.record(40)
        async with chain.client() as client:
            await client.stream_status(True)
            await fetch(client, run, path)

        assert path.read_bytes() == await chain.whole(run, tmp_path)
        waiting = await chain.air.ask_longest_queue()
        assert waiting <= (4 if overflow == "enomem" else 8192 // 182 + 1)
        assert waiting >= 4

    chain(story, host_mtu=185, buffers=4, packets=4, lose_every=3, overflow=overflow)


def test_a_link_that_breaks_while_recording_follows_on_afterwards(
    chain: Tell, feed: Feed, tmp_path: Path
) -> None:
    """The run goes on without the link; what was missed is filled from the store."""
    path = tmp_path / "live.run"

    async def story(chain: Chain) -> None:
        await chain.logger.load(feed(90))
        async with chain.client() as client:
            run = await client.start()
            follow = asyncio.create_task(fetch(client, run, path, follow=True))
            await chain.device_time(10)
            await chain.air.break_link()
            with pytest.raises(LinkLost):
                await follow
        before = kept_part(path, run)[0]
        await chain.device_time(20)
        async with chain.client() as client:
            follow = asyncio.create_task(fetch(client, run, path, follow=True))
            await chain.device_time(10)
            await client.stop()
            end = await follow

        assert end is not None
        assert end.samples >= 40 * RATE_HZ - RATE_HZ // 10
        assert before > 10
        assert path.read_bytes() == await chain.whole(run, tmp_path)

    chain(story, slice_s=0.1)


def test_nothing_is_said_before_the_host_speaks(chain: Tell) -> None:
    """Subscribed and silent: not one notification, for what comes then is lost on some systems (bleak issue 374)."""

    async def story(chain: Chain) -> None:
        link = BleLink(SERIAL, lost_after_s=1e9)
        await link.connect()
        await chain.device_time(5)
        assert chain.air.notifications == 0
        await link.disconnect()

    chain(story)


@pytest.mark.parametrize(("word", "patience_ms"), [(b"", LINK_FIRST_WORD), (b"\0", LINK_SILENCE)])
def test_a_silent_stranger_does_not_hold_the_only_place(chain: Tell, word: bytes, patience_ms: int) -> None:
    """Whoever connects and says nothing, or nothing more, is put out in time, and the logger advertises again."""

    async def story(chain: Chain) -> None:
        from bleak import BleakClient

        (found,) = await find(0.5)
        out = asyncio.Event()
        stranger = BleakClient(found.device, disconnected_callback=lambda _: out.set())
        before_ms = (
            chain.logger.now_ms
        )  # the logger's time goes on while a connection or a word is on its way
        await stranger.connect()
        if word:
            before_ms = chain.logger.now_ms
            await stranger.write_gatt_char(COMMAND_UUID, word, response=True)
        after_ms = chain.logger.now_ms
        await out.wait()
        out_ms = chain.logger.now_ms

        await stranger.disconnect()
        assert before_ms + patience_ms - 500 <= out_ms <= after_ms + patience_ms + 2000
        async with chain.client() as client:
            assert (await client.hello()).serial.hex() == SERIAL

    chain(story, slice_s=0.1, silence_s=0)


def test_without_the_key_numbers_are_shown_and_nothing_is_changed(chain: Tell, feed: Feed) -> None:
    """Live status is open; arming, stopping, reading runs and erasing are not, and leave no trace."""

    async def story(chain: Chain) -> None:
        run = await chain.record(5)
        async with chain.client(key=None) as stranger:
            await stranger.hello()
            await stranger.stream_status(True)
            assert (await stranger.wait_for_status()).state == State.IDLE
            (listed,) = await stranger.runs()
            refused = 0
            for attempt in (
                stranger.arm,
                stranger.start,
                stranger.stop,
                lambda: stranger.mark(0, "x"),
                lambda: stranger.set(1, 5000),
                lambda: stranger.erase(run, bytes(32)),
                lambda: stranger.read_run(run, lambda _: None),
                lambda: stranger.set_key(bytes(range(32, 64))),
            ):
                with pytest.raises(Refused) as caught:
                    await attempt()
                refused += caught.value.error == Error.NOT_ALLOWED

            assert refused == 8
            assert (await stranger.runs()) == (listed,)
            assert (await stranger.wait_for_status()).state == State.IDLE
        async with chain.client() as owner:
            assert (await owner.arm()) == run + 1

    chain(story, slice_s=0.1)


def test_a_wrong_key_is_found_out_before_anything_is_sealed(chain: Tell) -> None:
    """The logger's own proof does not fit: another logger, or another key."""

    async def story(chain: Chain) -> None:
        with pytest.raises(LinkError, match="has another key"):
            async with chain.client(key=bytes(range(1, 33))):
                pass

    chain(story)


def _command(tmp_path: Path, *words: str) -> tuple[Path, tuple[str, ...], dict[str, str]]:
    """A folder for runs, the command, and an environment in which this computer has the logger's key."""
    keys = tmp_path / "keys.json"
    keys.write_text(f'{{"{SERIAL}": "{KEY.hex()}"}}')
    folder = tmp_path / "pulls"
    folder.mkdir(exist_ok=True)
    more = tuple(str(folder) if word == "FOLDER" else word for word in words)
    whole = (sys.executable, "-m", "breakyard", *more, "--link", f"ble:{SERIAL}")
    return folder, whole, {**os.environ, "BREAKYARD_KEYS": str(keys)}


def test_a_pull_is_recorded_over_the_air_with_the_command(chain: Tell, tmp_path: Path) -> None:
    """breakyard record: arm, live numbers, the run ends by itself, is fetched and kept; with a key of this computer."""
    folder, words, environment = _command(tmp_path, "record", "FOLDER", "--now", "--seconds", "2")

    async def story(chain: Chain) -> None:
        host = await asyncio.create_subprocess_exec(*words, env=environment, stdout=asyncio.subprocess.PIPE)
        said, _ = await host.communicate()

        assert host.returncode == 0
        assert ": complete\n" in said.decode()
        (path,) = folder.iterdir()
        run = read_run(path.read_bytes())
        assert run.loss.complete
        assert path.read_bytes() == await chain.whole(run.number, tmp_path)

    chain(story, rest_s=0.02)


def test_a_recording_host_that_is_killed_loses_no_run(chain: Tell, tmp_path: Path) -> None:
    """kill -9 of `breakyard record`: the logger records on; what came is readable, and a later fetch completes it."""
    folder, words, environment = _command(tmp_path, "record", "FOLDER", "--now")
    _, again, _ = _command(tmp_path, "logger", "fetch", "--into", "FOLDER")

    async def story(chain: Chain) -> None:
        host = await asyncio.create_subprocess_exec(*words, env=environment)

        async def watch() -> None:
            if any(part.stat().st_size > 5000 for part in folder.glob("*.part")):
                host.send_signal(signal.SIGKILL)
                chain.air.on_slice = None

        chain.air.on_slice = watch
        await host.wait()
        assert host.returncode == -signal.SIGKILL
        (part,) = folder.iterdir()
        left = read_run(part.read_bytes())
        assert not left.loss.complete
        assert len(left.counts) > RATE_HZ

        await chain.device_time(LINK_SILENCE / 1000 + 1)
        async with chain.over_cable() as client:
            run = await client.stop()
        assert run == left.number
        other = await asyncio.create_subprocess_exec(*again, env=environment)
        await other.wait()

        assert other.returncode == 0
        (path,) = folder.iterdir()
        assert path.stem == part.stem
        assert path.read_bytes() == await chain.whole(run, tmp_path)
        assert len(read_run(path.read_bytes()).counts) > len(left.counts) + LINK_SILENCE * RATE_HZ // 1000

    chain(story, rest_s=0.02, silence_s=0)


def test_settings_are_changed_over_the_air_with_the_key_alone(chain: Tell, tmp_path: Path) -> None:
    """breakyard logger settings: a computer that has the key changes them, another one is told what it lacks."""
    _, words, environment = _command(tmp_path, "logger", "settings", "hang=3 s", "--json")
    stranger = environment | {"BREAKYARD_KEYS": str(tmp_path / "none.json")}

    async def story(chain: Chain) -> None:
        for who, status, said in ((stranger, 2, b"has no key for it"), (environment, 0, b'"hang_ms": 3000')):
            host = await asyncio.create_subprocess_exec(
                *words, env=who, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT
            )
            out, _ = await host.communicate()

            assert (host.returncode, said in out) == (status, True), out
            async with chain.over_cable() as client:
                await client.hello()
                assert client.settings is not None
                assert client.settings.hang_ms == (5000 if status else 3000)

    chain(story, rest_s=0.02)
