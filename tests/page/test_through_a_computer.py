"""The field page through a computer: the command, its server, the virtual logger's firmware, and real browsers.

Not run: a telephone, a wireless network.
"""

import asyncio
import os
import signal
from pathlib import Path
from typing import Any

import pytest
from browser import PATIENCE_MS, Phone, browser_on

from breakyard.run import read_run

from .conftest import Computer, start

pytestmark = pytest.mark.xdist_group("browser")


async def pull_once(phone: Phone, specimen: str = "") -> None:
    """Zero, wait for the pull, let the virtual cell be pulled, until the number is idle again."""
    await phone.sees("#link-line", "connected")
    await phone.sees("#well-lines", "fresh")
    await phone.page.wait_for_timeout(1000)  # a zero is a mean over time
    await phone.page.click("#zero")
    await phone.page.fill("#specimen", specimen)
    await phone.page.click("#arm")
    await phone.sees("#lamp", "waiting for the pull")
    await phone.page.click("#simulate")
    await phone.sees("#lamp", "recording")


async def first_card(phone: Phone) -> str:
    """The newest pull on the page, in words."""
    return str(await phone.page.inner_text("#runs > li:first-child"))


def test_from_the_page_to_a_read_pull_with_three_watchers(computer: Computer, tmp_path: Path) -> None:
    """One commands, two watch (one of them asleep); all get the reading with its interval; run and photo are kept."""

    async def story() -> None:
        async with browser_on(tmp_path / "profile") as context, browser_on(tmp_path / "other") as other:
            runs = set((computer.session / "runs").glob("*.run"))
            phone = await Phone.at(context, computer.paired)
            watcher = await Phone.at(other, computer.address)
            asleep = await Phone.at(other, computer.address)
            talk = await other.new_cdp_session(asleep.page)
            await talk.send("Emulation.setCPUThrottlingRate", {"rate": 20})
            await phone.page.wait_for_function(
                "document.querySelectorAll('#runs > li').length >= 13", timeout=PATIENCE_MS
            )
            weighed = await phone.page.locator("#runs > li", has_text="Weighed").text_content()
            many = await phone.page.locator("#runs > li").count()
            await pull_once(phone, "S3")
            for one in (phone, watcher, asleep):
                await one.page.wait_for_function(
                    f"document.querySelectorAll('#runs > li').length > {many}", timeout=PATIENCE_MS
                )
            card = await first_card(phone)
            seen_by_watcher = await first_card(watcher)
            await phone.page.click("#runs > li:first-child >> text=did not break")
            picture = await phone.page.screenshot(type="jpeg", quality=90)
            await phone.page.set_input_files(
                "#runs > li:first-child input[type=file]",
                {"name": "photo.jpg", "mimeType": "image/jpeg", "buffer": picture},
            )
            await phone.picture("computer")
            (new,) = set((computer.session / "runs").glob("*.run")) - runs

            # What was begun is ended by the same button, and is a weighing; it was too short for a mass.
            await phone.page.click("#weighing summary")
            of_the_pull = await phone.page.text_content("#largest-number")
            await phone.page.click("#weigh")
            await phone.sees("#weigh", "End the weighing")
            await phone.sees("#simulate", "Hang something on")
            of_the_weighing = await phone.page.text_content("#largest-number")
            await phone.page.click("#weigh")
            await phone.page.wait_for_function(
                "document.querySelector('#runs > li').textContent.includes('Weighed')", timeout=PATIENCE_MS
            )
            short = await first_card(phone)

            photos = computer.session / "photos" / "S3"
            async with asyncio.timeout(PATIENCE_MS / 1000):
                while not list(photos.glob("*.jpg")):
                    await phone.page.wait_for_timeout(100)

            assert of_the_weighing != of_the_pull
            assert "36." in weighed
            assert "Mass with its 95 % interval" in weighed
            assert "longer" in short
            assert "interval" in card or "at least" in card
            assert "not a rating" in card or "at least" in card
            assert seen_by_watcher == card
            assert await watcher.page.is_disabled("#arm")
            assert read_run(new.read_bytes()).loss.complete
            assert "code" not in phone.page.url
            assert phone.errors == []
            notes = new.with_suffix(".toml")
            await phone.page.wait_for_timeout(300)
            assert 'outcome = "did not break"' in notes.read_text("utf-8")

    asyncio.run(story())


def test_the_computer_ends_in_the_pull_and_begins_again(demo_session: Path, tmp_path: Path) -> None:
    """The page says so and comes back by itself once there is a computer again at the same place."""

    async def story() -> None:
        first = start(demo_session)
        port = first.address.rsplit(":", 1)[1].strip("/")
        async with browser_on(tmp_path / "profile") as context:
            phone = await Phone.at(context, first.paired)
            await phone.sees("#link-line", "connected")
            os.kill(first.process.pid, signal.SIGKILL)
            first.process.wait()
            await phone.sees("#trouble", "the logger records on")
            again = start(demo_session, port)
            await phone.sees("#link-line", "connected")
            await phone.sees("#code-form", "type the code")
            shown = await phone.page.is_visible("#code-form")
            await phone.page.fill("#code", again.code)
            await phone.page.click("text=Pair")
            await phone.page.wait_for_function("!document.querySelector('#arm').disabled")

            assert shown
            again.process.terminate()
            again.process.wait(30)
            for ended in (first, again):
                assert ended.process.stdout is not None
                ended.process.stdout.close()

    asyncio.run(story())


@pytest.mark.parametrize("size", [(360, 800), (412, 915), (800, 360)])
def test_nothing_wider_than_the_screen_and_nothing_that_hinders(
    computer: Computer, tmp_path: Path, size: tuple[int, int]
) -> None:
    """axe-core finds nothing (WCAG 2.2 AA, AAA) in either theme; taps are large; figures fill the screen."""
    from axe_playwright_python.async_playwright import Axe

    width, height = size

    async def story() -> None:
        view = {"width": width, "height": height}
        async with browser_on(tmp_path / "profile", viewport=view) as context:
            phone = await Phone.at(context, computer.paired)
            await phone.page.wait_for_function("document.querySelectorAll('#runs > li').length >= 2")
            for theme in ("sun", "dark"):
                if theme == "dark":
                    await phone.page.click("#theme")
                tags = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "wcag2aaa", "best-practice"]
                found = await Axe().run(phone.page, options={"runOnly": {"type": "tag", "values": tags}})
                assert found.response["violations"] == [], found.generate_report()
                await phone.picture(f"{theme}-{width}")
            # The widest numbers there are, with their unit.
            inside = await phone.page.evaluate(
                """["-8888", "-8.888"].map((text) => {
                  document.querySelector("#number").textContent = text;
                  document.querySelector("#number-unit").textContent = "kgf";
                  return document.querySelector("#number-unit").getBoundingClientRect().right <= innerWidth;
                })"""
            )
            wide = await phone.page.evaluate("document.documentElement.scrollWidth")
            low = await phone.page.evaluate(
                """Array.from(document.querySelectorAll("main button, main input:not([type=file]), main select"))
                  .filter((one) => one.offsetParent && one.offsetHeight < 72).map((one) => one.outerHTML)"""
            )
            await phone.sees("#well-lines", "fresh")
            await phone.page.wait_for_timeout(1000)
            await phone.page.click("#zero")
            await phone.page.click("#board")
            await phone.page.wait_for_function("document.querySelector('#big').dataset.figureHeight")
            if width > height:  # until the figures are those of a load: dashes are wider
                await phone.page.wait_for_function(
                    "Number(document.querySelector('#big').dataset.figureHeight) > 0.75 * innerHeight",
                    timeout=PATIENCE_MS,
                )
            await phone.picture(f"board-{width}", whole=False)
            figure = float(await phone.page.evaluate("document.querySelector('#big').dataset.figureHeight"))
            box: dict[str, Any] = await phone.page.evaluate(
                "document.querySelector('#big-figures').getBoundingClientRect().toJSON()"
            )

            assert inside == [True, True]
            assert wide <= width
            assert low == []
            assert box["left"] >= 0
            assert box["right"] <= width
            assert figure <= height
            if width > height:
                # 58 mm is read from 10 m (20 arc minutes); a short text is as high as the screen lets it be.
                assert figure > 0.75 * height

    asyncio.run(story())
