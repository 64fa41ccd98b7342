"""The page by itself: without a network, without Bluetooth, with a browser that keeps nothing."""

import asyncio
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import PAGE, Phone, browser_on, missing, site_of

from breakyard.field.files import write_site

pytestmark = [
    pytest.mark.xdist_group("browser"),
    pytest.mark.skipif(bool(missing()), reason=missing()),
]


@pytest.fixture
def site() -> Iterator[str]:
    """The page as a static site on this machine."""
    with site_of() as address:
        yield address


def test_it_starts_with_the_server_gone(tmp_path: Path) -> None:
    """Opened once with a network, it opens without one: every module, the style, ready to connect."""
    folder = tmp_path / "site"
    shutil.copytree(PAGE, folder)

    async def story() -> None:
        async with browser_on(tmp_path / "profile") as context:
            with site_of(folder) as address:
                phone = await Phone.at(context, address)
                await phone.page.evaluate("navigator.serviceWorker.ready.then(() => null)")
                await phone.page.close()
            shutil.rmtree(folder)
            offline = await Phone.at(context, address)
            await offline.sees("#ways", "Bluetooth")
            style = await offline.page.evaluate("getComputedStyle(document.querySelector('#arm')).minHeight")
            # Chromium takes the page out of the cache by itself; 0: no worker was woken for it.
            woken = await offline.page.evaluate("performance.getEntriesByType('navigation')[0].workerStart")

            assert woken == 0
            assert style == "72px"
            assert offline.errors == []

    asyncio.run(story())


def test_a_start_waits_for_no_disk(site: str, tmp_path: Path) -> None:
    """The buttons are there while the browser still opens what keeps the runs; what needs it waits."""

    async def story() -> None:
        async with browser_on(tmp_path / "profile") as context:
            await context.add_init_script(
                """const open = IDBFactory.prototype.open;
                   IDBFactory.prototype.open = function (...all) {
                     const slow = {};  // what a slow disk is: the answer comes when the test says
                     window.opened = () => {
                       const real = open.apply(this, all);
                       for (const on of ["onupgradeneeded", "onsuccess", "onerror"]) {
                         real[on] = (event) => {
                           Object.defineProperty(slow, "result", { value: real.result, configurable: true });
                           slow[on]?.(event);
                         };
                       }
                     };
                     return slow;
                   };"""
            )
            phone = await Phone.at(context, site)
            await phone.page.wait_for_function("'opened' in window")
            buttons = await phone.page.locator("#ways").inner_text()
            before = await phone.page.inner_text("#kept-words")
            await phone.page.evaluate("window.opened()")
            await phone.sees("#kept-words", "None yet")

            assert "Bluetooth" in buttons
            assert before == ""
            assert phone.errors == []

    asyncio.run(story())


def test_a_new_page_at_the_same_place_replaces_the_one_that_is_kept(tmp_path: Path) -> None:
    """At the first opening with a network it is fetched beside the old one, at the next it is there."""
    folder, changed = tmp_path / "site", tmp_path / "changed"
    write_site(folder)
    shutil.copytree(PAGE, changed)
    index = changed / "index.html"
    index.write_text(index.read_text("utf-8").replace("Reach the logger", "Another page"), "utf-8")

    async def title(context: Any, address: str) -> str:
        phone = await Phone.at(context, address)
        said = str(await phone.page.inner_text("#join-title"))
        await phone.page.evaluate(
            """navigator.serviceWorker.ready.then((has) => has.update()).then(async (has) => {
              const worker = has.installing ?? has.waiting;
              while (worker?.state === "installing") await new Promise((done) => setTimeout(done, 50));
            })"""
        )
        await phone.page.close()
        return said

    async def story() -> None:
        async with browser_on(tmp_path / "profile") as context:
            with site_of(folder) as address:
                first = await title(context, address)
                shutil.rmtree(folder)
                with pytest.MonkeyPatch.context() as patch:
                    patch.setattr("breakyard.field.files.page_folder", lambda: changed)
                    write_site(folder)
                # The new one takes over once the old page has gone, which a busy browser sees a little later.
                later = [await title(context, address)]
                while later[-1] == first and len(later) < 6:
                    later.append(await title(context, address))

            assert first == "Reach the logger"
            assert later[0] == first
            assert later[-1] == "Another page"

    asyncio.run(story())


def test_without_bluetooth_it_says_the_way_out(site: str, tmp_path: Path) -> None:
    """As in Firefox and on iPhones: a sentence, not a button that does nothing."""

    async def story() -> None:
        async with browser_on(tmp_path / "profile") as context:
            await context.add_init_script(
                "delete Navigator.prototype.bluetooth; delete Navigator.prototype.serial;"
            )
            phone = await Phone.at(context, site)
            said = await phone.page.inner_text("#ways")

            assert "breakyard field" in said
            assert await phone.page.locator("#ways button").count() == 0
            assert phone.errors == []

    asyncio.run(story())


def test_a_browser_whose_bluetooth_fell_silent_is_loaded_again(site: str, tmp_path: Path) -> None:
    """Nothing settles any more, as in Chromium after a lost link: an installed page has no other button for it."""
    silent = """
      const never = () => new Promise(() => {});
      const gatt = { connect: never, disconnect: () => {} };
      Object.defineProperty(Navigator.prototype, "bluetooth", { get: () => ({
        requestDevice: async () => Object.assign(new EventTarget(), { name: "logger", gatt }), getAvailability: never,
      }) });
    """

    async def story() -> None:
        async with browser_on(tmp_path / "profile") as context:
            await context.add_init_script(silent)
            phone = await Phone.at(context, site)
            await phone.page.clock.install()
            await phone.page.click("text=Bluetooth")
            await phone.sees("#link-line", "connecting")
            hidden = await phone.page.locator("#reload").is_hidden()
            await phone.page.clock.run_for(20_000)
            await phone.sees("#trouble", "load this page again")
            await phone.picture("silent")
            async with phone.page.expect_navigation(wait_until="domcontentloaded"):
                await phone.page.click("#reload")

            assert hidden
            assert await phone.page.locator("#reload").is_hidden()
            assert phone.errors == []

    asyncio.run(story())


@pytest.mark.parametrize(
    "refusal",
    [
        "indexedDB.open = () => { throw new DOMException('no', 'SecurityError'); };",
        "Object.defineProperty(window, 'indexedDB', { value: undefined });",
        """const put = IDBObjectStore.prototype.put;
           IDBObjectStore.prototype.put = function (...all) {
             if (this.name === 'pieces') throw new DOMException('full', 'QuotaExceededError');
             return put.apply(this, all);
           };""",
    ],
    ids=["refused", "absent", "full"],
)
def test_a_browser_that_keeps_nothing_is_told_before_the_pull(
    site: str, tmp_path: Path, refusal: str
) -> None:
    """Storage is tried out with a real write, and what it means is said; the page works all the same."""

    async def story() -> None:
        async with browser_on(tmp_path / "profile") as context:
            await context.add_init_script(refusal)
            phone = await Phone.at(context, site)
            await phone.sees("#join-words", "keep")
            await phone.sees("#kept-words", "the logger does")

            assert phone.errors == []

    asyncio.run(story())


def test_a_refused_wake_lock_is_said(site: str, tmp_path: Path) -> None:
    """A battery saver may refuse it: then the screen goes dark, and nobody is surprised."""

    async def story() -> None:
        async with browser_on(tmp_path / "profile") as context:
            await context.add_init_script(
                "WakeLock.prototype.request = () => Promise.reject(new DOMException('no', 'NotAllowedError'));"
            )
            phone = await Phone.at(context, site)
            await phone.page.click("h1")
            await phone.sees("#join-words", "The screen may go dark")

            assert phone.errors == []

    asyncio.run(story())


def test_a_private_window_that_keeps_no_settings_works(site: str, tmp_path: Path) -> None:
    """localStorage may throw at every touch."""

    async def story() -> None:
        async with browser_on(tmp_path / "profile") as context:
            await context.add_init_script(
                "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no'); } });"
            )
            phone = await Phone.at(context, site)
            await phone.page.select_option("#unit", "lbf")
            await phone.page.click("#theme")

            assert await phone.page.inner_text("#stop-unit") == "lbf"
            assert phone.errors == []

    asyncio.run(story())


def test_a_key_that_is_none_is_refused_and_a_key_is_kept_unreadable(site: str, tmp_path: Path) -> None:
    """The browser keeps a key that can sign and never be read out."""

    async def story() -> None:
        async with browser_on(tmp_path / "profile") as context:
            phone = await Phone.at(context, site)
            kept = await phone.page.evaluate(
                """async () => {
                  const { openStore } = await import("./store.mjs");
                  const { store } = await openStore();
                  const raw = new Uint8Array(32).fill(7);
                  const key = await crypto.subtle.importKey(
                    "raw", raw, { name: "HMAC", hash: "SHA-256" }, false, ["sign"]);
                  await store.keepKey("0102", key);
                  const back = await store.keyOf("0102");
                  const read = await crypto.subtle.exportKey("raw", back).then(() => "read", (error) => error.name);
                  return [back.extractable, read];
                }"""
            )

            assert kept == [False, "InvalidAccessError"]

    asyncio.run(story())
