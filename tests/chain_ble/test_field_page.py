"""The field page in a real browser: Web Bluetooth, a stand-in of BlueZ, the virtual radio and the board's own firmware.

Chromium's Bluetooth on Linux speaks to the private bus as it would to the system's; the chooser is answered by the
browser's debugging protocol. Not run: a telephone, its browser, a radio.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import AbstractAsyncContextManager
from pathlib import Path
from typing import Any

import pytest
from browser import BLUETOOTH, Phone, browser_on, missing, site_of
from demo_cell import CALIBRATION, write_pull

from breakyard.run import read_run
from breakyard.wire.file_head import file_head
from breakyard.wire.layout import EndCause

from .conftest import KEY, SERIAL, Chain

pytestmark = pytest.mark.skipif(bool(missing()), reason=missing())

Tell = Callable[..., None]

SLICE = {"slice_s": 0.03, "rest_s": 0.03, "silence_s": 5.0}
"""Device time goes at most as fast as the clock on the wall, since a browser's timers follow that."""


@pytest.fixture
def pull_feed(tmp_path: Path) -> Path:
    """A brittle pull to 300 kgf at the demo's cell, after four quiet seconds. Invented."""
    return write_pull(tmp_path / "pull.feed", 300.0)


@pytest.fixture(scope="module")
def site() -> Iterator[str]:
    """The page as a static site on this machine."""
    with site_of() as address:
        yield address


def bluetooth_browser(folder: Path) -> AbstractAsyncContextManager[Any]:
    """A browser whose Bluetooth is the private bus's."""
    bus = {"DBUS_SESSION_BUS_ADDRESS": os.environ["DBUS_SYSTEM_BUS_ADDRESS"]}
    return browser_on(folder, flags=BLUETOOTH, env={**os.environ, **bus})


async def joined(chain: Chain, phone: Phone) -> None:
    """The page reaches the logger, and is given its key."""
    await phone.choose()
    await phone.sees("#key-form", "has a key")
    await phone.page.fill("#key", KEY.hex())
    await phone.page.click("text=Keep the key")
    await phone.page.wait_for_function(
        "document.querySelector('#well-lines').textContent.includes('known here')"
    )


@pytest.mark.parametrize("mtu", [23, 247])
def test_connect_arm_break_fetch(chain: Tell, site: str, tmp_path: Path, pull_feed: Path, mtu: int) -> None:
    """From the tap on Bluetooth to a broken specimen on the screen; the run is the store's, byte for byte."""

    async def story(chain: Chain) -> None:
        async with chain.over_cable() as client:
            await client.store_calibration(CALIBRATION)
        async with bluetooth_browser(tmp_path / "profile") as context:
            phone = await Phone.at(context, site)
            await phone.picture("before")
            await joined(chain, phone)
            await chain.logger.load(pull_feed)
            await phone.page.wait_for_timeout(1500)  # a zero is the mean of a second
            await phone.page.click("#zero")
            await phone.page.fill("#specimen", "B1")
            await phone.page.click("#arm")
            await phone.sees("#lamp", "waiting for the pull")
            await phone.picture("armed")
            await phone.sees("#lamp", "recording")
            await phone.sees("#runs", "Largest sample, not yet read")
            run = await phone.complete_run()
            await phone.sees("#runs", "B1")
            kept = file_head() + await phone.bytes_of(SERIAL, run)
            await phone.picture("after")
            shown = await phone.page.inner_text("#runs .peak")

            assert kept == await chain.whole(run, tmp_path)
            assert read_run(kept).loss.complete
            # The number of the converter's own filter; the reading that knows it is the computer's.
            assert shown.endswith("kgf")
            assert 285 < float(shown.split()[0]) < 301
            if mtu == 247:
                await weigh_shortly(phone)
            assert phone.errors == []

    chain(story, host_mtu=mtu, **SLICE)


async def weigh_shortly(phone: Phone) -> None:
    """Begun and ended by one button: the run is a weighing, which was too short for a mass."""
    await phone.page.click("#weighing summary")
    await phone.page.click("#weigh")
    await phone.sees("#weigh", "End the weighing")
    await phone.page.click("#weigh")
    await phone.sees("#runs > li:first-child", "Weighed")
    await phone.sees("#runs > li:first-child", "it must hang for longer")
    assert sorted(run["purpose"] or "" for run in await phone.runs()) == ["", "weighing"]


def test_the_link_is_cut_in_the_pull_and_comes_back(
    chain: Tell, site: str, tmp_path: Path, pull_feed: Path
) -> None:
    """The page says so, connects again without a chooser, and has the run from where it stopped."""

    async def story(chain: Chain) -> None:
        async with bluetooth_browser(tmp_path / "profile") as context:
            phone = await Phone.at(context, site)
            await joined(chain, phone)
            await chain.logger.load(pull_feed)
            await phone.page.click("#arm")
            await phone.sees("#lamp", "recording")
            await chain.air.break_link()
            await phone.sees("#trouble", "the logger records on")
            await phone.back()
            run = await phone.complete_run()

            assert file_head() + await phone.bytes_of(SERIAL, run) == await chain.whole(run, tmp_path)

    chain(story, **SLICE)


def test_the_page_is_closed_in_the_pull_and_opened_again(
    chain: Tell, site: str, tmp_path: Path, pull_feed: Path
) -> None:
    """The logger records on; the page finds its beginning in the browser's store, and fetches the rest."""

    async def story(chain: Chain) -> None:
        async with bluetooth_browser(tmp_path / "profile") as context:
            phone = await Phone.at(context, site)
            await joined(chain, phone)
            await chain.logger.load(pull_feed)
            await phone.page.fill("#specimen", "B1")
            await phone.page.click("#arm")
            await phone.sees("#lamp", "recording")
            await phone.page.wait_for_timeout(2000)  # some of it is to be in the browser's store
            await phone.page.close()
            again = await Phone.at(context, site)
            (begun,) = await again.runs()
            await again.choose()
            run = await again.complete_run()
            (kept,) = await again.runs()

            assert begun["next"] > 0
            assert not begun["complete"]
            assert kept["specimen"] == "B1"
            assert file_head() + await again.bytes_of(SERIAL, run) == await chain.whole(run, tmp_path)

    chain(story, **SLICE)


def test_the_logger_is_reset_in_the_pull(chain: Tell, site: str, tmp_path: Path, pull_feed: Path) -> None:
    """It comes back with its store; the page does, too, keeps what was stored before, and says what ended it."""

    async def story(chain: Chain) -> None:
        async with bluetooth_browser(tmp_path / "profile") as context:
            phone = await Phone.at(context, site)
            await joined(chain, phone)
            await chain.logger.load(pull_feed)
            await phone.page.fill("#specimen", "B1")
            await phone.page.click("#arm")
            await phone.sees("#lamp", "recording")
            await chain.device_time(2.0)
            await chain.air.reset_board()
            await phone.sees("#trouble", "the logger records on")
            await phone.back()
            await phone.sees("#lamp", "idle")
            run = await phone.complete_run()
            kept = file_head() + await phone.bytes_of(SERIAL, run)
            read = read_run(kept)
            said = await phone.page.inner_text("#runs")

            assert kept == await chain.whole(run, tmp_path)
            assert read.end is not None
            assert read.end.cause == EndCause.POWER_LOST
            assert len(read.counts) > 100
            assert "B1" in said
            assert "The logger restarted in the pull" in said

    (tmp_path / "flash").mkdir()
    chain(story, options=("--runs", str(tmp_path / "flash")), **SLICE)
