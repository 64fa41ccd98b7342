"""The field page in a real browser: Web Bluetooth, a stand-in of BlueZ, the virtual radio and the board's own firmware.

Chromium's Bluetooth on Linux speaks to the private bus as it would to the system's; the chooser is answered by the
browser's debugging protocol. Not run: a telephone, its browser, a radio.
"""

import asyncio
import contextlib
import functools
import http.server
import os
import shutil
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from breakyard.run import read_run
from breakyard.simulate import recipes
from breakyard.simulate.chain import measure
from breakyard.simulate.feed import write_feed
from breakyard.simulate.pull import pull
from breakyard.simulate.scenario import boatyard
from breakyard.wire.records import CalibrationCopy

from .conftest import KEY, SERIAL, Chain

PAGE = Path(__file__).parents[2] / "host" / "page"
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)

pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium (Debian and its kin: the package chromium)"),
    pytest.mark.skipif(
        find_spec("playwright") is None, reason="no Python package playwright (pip install 'breakyard[air]')"
    ),
]

Tell = Callable[..., None]

FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync"),
    *("--enable-features=WebBluetooth", "--enable-blink-features=WebBluetooth"),
]

PATIENCE_MS = 60_000
SLICE = {"slice_s": 0.03, "rest_s": 0.03, "silence_s": 5.0}
"""Device time goes at most as fast as the clock on the wall, since a browser's timers follow that."""


KGF = 9.80665
RIG = recipes.Rig(quiet_s=4.0, bumps=0, slack_s=1.0, line_n=KGF)
COUNTS = 6_467_000
"""Of the demo's cell at its capacity of 1000 kgf: 3.0114 mV/V x 2 147 483.648 counts a mV/V."""

CALIBRATION = CalibrationCopy(
    run=0,
    index=0,
    name="yard",
    made_s=1_790_000_000,
    input=1,
    centre_counts=0,
    scale_counts=COUNTS,
    c0_n=0.0,
    c1_n=float(np.float32(1000 * KGF)),
    c2_n=0.0,
    c3_n=0.0,
    highest_known_n=600.0,
    capacity_n=float(np.float32(1000 * KGF)),
    sha256=bytes(32),
)


@pytest.fixture
def pull_feed(tmp_path: Path) -> Path:
    """A brittle pull to 300 kgf at the demo's cell, after four quiet seconds. Invented."""
    yard = boatyard()
    truth = pull(recipes.brittle(RIG, peak_n=300 * KGF, rate_n_per_s=100 * KGF), seed=5, clear=True)
    write_feed(tmp_path / "pull.feed", measure(truth, yard.cell, yard.converter, seed=5))
    return tmp_path / "pull.feed"


class Quiet(http.server.SimpleHTTPRequestHandler):
    """Serves the page's folder and says nothing."""

    extensions_map = http.server.SimpleHTTPRequestHandler.extensions_map | {".mjs": "text/javascript"}

    def log_message(self, *_: Any) -> None:
        pass


@pytest.fixture(scope="module")
def site() -> Iterator[str]:
    """The page as a static site on this machine."""
    handler = functools.partial(Quiet, directory=str(PAGE))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}/"
        server.shutdown()


@contextlib.asynccontextmanager
async def browser_on(folder: Path) -> AsyncIterator[Any]:
    """A browser whose Bluetooth is the private bus's, with a profile that outlives its pages."""
    from playwright.async_api import async_playwright

    async with async_playwright() as playwright:
        context = await playwright.chromium.launch_persistent_context(
            str(folder),
            executable_path=CHROMIUM,
            headless=True,
            args=FLAGS,
            viewport={"width": 412, "height": 915},
            env={**os.environ, "DBUS_SESSION_BUS_ADDRESS": os.environ["DBUS_SYSTEM_BUS_ADDRESS"]},
        )
        try:
            yield context
        finally:
            await context.close()


class Phone:
    """A page in that browser, and the taps of a person."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.errors: list[str] = []
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("console", lambda said: self.errors.append(said.text) if said.type == "error" else None)

    @classmethod
    async def at(cls, context: Any, address: str) -> "Phone":
        phone = cls(await context.new_page())
        await phone.page.goto(address)
        await phone.page.wait_for_selector("html[data-ready=yes]")
        return phone

    async def choose(self) -> None:
        """Tap Bluetooth and choose the only logger in the chooser."""
        talk = await self.page.context.new_cdp_session(self.page)
        chosen = asyncio.get_running_loop().create_future()

        def prompted(event: dict[str, Any]) -> None:
            if event["devices"] and not chosen.done():
                chosen.set_result((event["id"], event["devices"][0]["id"]))

        talk.on("DeviceAccess.deviceRequestPrompted", prompted)
        await talk.send("DeviceAccess.enable")
        await self.page.click("text=Bluetooth")
        prompt, device = await asyncio.wait_for(chosen, PATIENCE_MS / 1000)
        await talk.send("DeviceAccess.selectPrompt", {"id": prompt, "deviceId": device})

    async def sees(self, selector: str, text: str) -> None:
        """Wait until an element holds a text."""
        await self.page.wait_for_function(
            "([selector, text]) => document.querySelector(selector)?.innerText.includes(text)",
            arg=[selector, text],
            timeout=PATIENCE_MS,
        )

    async def picture(self, name: str) -> None:
        """A picture of the page, where a person wants to look at them (BREAKYARD_PICTURES names a folder)."""
        if folder := os.environ.get("BREAKYARD_PICTURES"):
            await self.page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)

    async def runs(self) -> list[dict[str, Any]]:
        """The runs that the page keeps, with what it says of each."""
        found: list[dict[str, Any]] = await self.page.evaluate(
            """async () => {
              const { openStore } = await import("./store.mjs");
              const { store } = await openStore();
              const known = await store.runs();
              return known.map(({ run, complete, specimen, next }) => ({ run, complete, specimen, next }));
            }"""
        )
        return found

    async def complete_run(self) -> int:
        """Wait until the page keeps a complete run; its number."""
        async with asyncio.timeout(PATIENCE_MS / 1000):
            while not (found := [one["run"] for one in await self.runs() if one["complete"]]):
                await self.page.wait_for_timeout(200)
        (run,) = found
        return int(run)

    async def bytes_of(self, run: int) -> bytes:
        """What the page keeps of a run."""
        listed = await self.page.evaluate(
            """async (key) => {
              const { openStore } = await import("./store.mjs");
              const { store } = await openStore();
              return Array.from(await store.bytes(key));
            }""",
            f"{SERIAL}-{run}",
        )
        return bytes(listed)


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
        async with browser_on(tmp_path / "profile") as context:
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
            kept = await phone.bytes_of(run)
            await phone.picture("after")
            shown = await phone.page.inner_text("#runs .peak")

            assert kept == await chain.whole(run, tmp_path)
            assert read_run(kept).loss.complete
            # The number of the converter's own filter; the reading that knows it is the computer's.
            assert shown.endswith("kgf")
            assert 285 < float(shown.split()[0]) < 301
            assert phone.errors == []

    chain(story, host_mtu=mtu, **SLICE)


def test_the_link_is_cut_in_the_pull_and_comes_back(
    chain: Tell, site: str, tmp_path: Path, pull_feed: Path
) -> None:
    """The page says so, connects again without a chooser, and has the run from where it stopped."""

    async def story(chain: Chain) -> None:
        async with browser_on(tmp_path / "profile") as context:
            phone = await Phone.at(context, site)
            await joined(chain, phone)
            await chain.logger.load(pull_feed)
            await phone.page.click("#arm")
            await phone.sees("#lamp", "recording")
            await chain.air.break_link()
            await phone.sees("#trouble", "the logger records on")
            run = await phone.complete_run()

            assert await phone.bytes_of(run) == await chain.whole(run, tmp_path)

    chain(story, **SLICE)


def test_the_page_is_closed_in_the_pull_and_opened_again(
    chain: Tell, site: str, tmp_path: Path, pull_feed: Path
) -> None:
    """The logger records on; the page finds its beginning in the browser's store, and fetches the rest."""

    async def story(chain: Chain) -> None:
        async with browser_on(tmp_path / "profile") as context:
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
            assert await again.bytes_of(run) == await chain.whole(run, tmp_path)

    chain(story, **SLICE)
