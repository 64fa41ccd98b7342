"""A page in a real browser: Chromium of the system, driven by playwright, and the taps of a person."""

import asyncio
import contextlib
import functools
import http.server
import os
import shutil
import threading
from collections.abc import AsyncIterator, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

PAGE = Path(__file__).parents[2] / "host" / "page"
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)

PATIENCE_MS = 60_000
"""Real time that a browser on a busy machine may need; nothing waits so long when all is well."""

FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required"),
]
BLUETOOTH = ["--enable-features=WebBluetooth", "--enable-blink-features=WebBluetooth"]
"""Behind switches on Linux, on by default on telephones."""


def missing() -> str:
    """What this system lacks, or nothing."""
    if CHROMIUM is None:
        return "no chromium (Debian and its kin: the package chromium)"
    if find_spec("playwright") is None:
        return "no Python package playwright (pip install 'breakyard[air]')"
    return ""


class _Quiet(http.server.SimpleHTTPRequestHandler):
    """Serves a folder and says nothing."""

    extensions_map = http.server.SimpleHTTPRequestHandler.extensions_map | {
        ".mjs": "text/javascript",
        ".webmanifest": "application/manifest+json",
    }

    def log_message(self, *_: Any) -> None:
        pass


@contextlib.contextmanager
def site_of(folder: Path = PAGE) -> Iterator[str]:
    """A folder as a static site on this machine; its address."""
    handler = functools.partial(_Quiet, directory=str(folder))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}/"
        server.shutdown()


@contextlib.asynccontextmanager
async def browser_on(folder: Path, *, flags: list[str] = [], **options: Any) -> AsyncIterator[Any]:  # noqa: B006 - read only
    """A browser with a profile that outlives its pages, as large as a telephone unless said otherwise."""
    from playwright.async_api import async_playwright

    chosen = {"viewport": {"width": 412, "height": 915}, "bypass_csp": True} | options
    async with async_playwright() as playwright:
        context = await playwright.chromium.launch_persistent_context(
            str(folder), executable_path=CHROMIUM, headless=True, args=[*FLAGS, *flags], **chosen
        )
        try:
            yield context
        finally:
            await context.close()


class Phone:
    """A page in that browser. `errors`: what it said on its console."""

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

    async def sees(self, selector: str, text: str) -> None:
        """Wait until an element holds a text, shown or folded away; else an error with all that the page shows."""
        from playwright.async_api import TimeoutError as NotInTime

        try:
            await self.page.wait_for_function(
                "([selector, text]) => document.querySelector(selector)?.textContent.includes(text)",
                arg=[selector, text],
                timeout=PATIENCE_MS,
            )
        except NotInTime as late:
            shown = await self.page.inner_text("body")
            said = await self.page.text_content(selector)
            raise AssertionError(f"{selector} says {said!r}, not {text!r}\n{self.errors}\n{shown}") from late

    async def back(self) -> None:
        """Wait until a lost link is there again; where the browser's Bluetooth fell silent, do what the page says."""
        await self.page.wait_for_function(
            """() => !document.querySelector("#reload").hidden
                  || / connected$/.test(document.querySelector("#link-line").textContent)""",
            timeout=PATIENCE_MS,
        )
        if await self.page.locator("#reload").is_visible():
            await self.picture("silent")
            await self.page.click("#reload")
            await self.page.wait_for_selector("html[data-ready=yes]")
            await self.choose()

    async def picture(self, name: str, *, whole: bool = True) -> None:
        """A picture of the page, where a person wants to look at them (BREAKYARD_PICTURES names a folder)."""
        if folder := os.environ.get("BREAKYARD_PICTURES"):
            await self.page.screenshot(path=Path(folder) / f"{name}.png", full_page=whole)

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

    async def runs(self) -> list[dict[str, Any]]:
        """The runs that the page keeps, with what it says of each."""
        found: list[dict[str, Any]] = await self.page.evaluate(
            """async () => {
              const { openStore } = await import("./store.mjs");
              const { store } = await openStore();
              const known = await store.runs();
              return known.map(
                ({ run, complete, specimen, purpose, next }) => ({ run, complete, specimen, purpose, next }));
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

    async def bytes_of(self, serial: str, run: int) -> bytes:
        """What the page keeps of a run."""
        listed = await self.page.evaluate(
            """async (key) => {
              const { openStore } = await import("./store.mjs");
              const { store } = await openStore();
              return Array.from(await store.bytes(key));
            }""",
            f"{serial}-{run}",
        )
        return bytes(listed)
