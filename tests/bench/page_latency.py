"""How old is the number that a person sees, how late is the tone? Run: python tests/bench/page_latency.py [--pulls 3]

A pull of the virtual logger (its own firmware) is watched in Chromium, once through a computer (`breakyard field`) and
once over the virtual radio with a connection event every 30 ms (support/ble_air). The page notes when each number was
painted and when the break's tone began. Afterwards the run, with the time of each conversion, tells when the converter
finished the sample that was shown: the difference is the number's age. Shown loads are rounded (0.5 kgf of a ramp of
100 kgf/s is 5 ms), and a tone still has to leave the loudspeaker (the browser's own estimate is printed beside it).

Also: how long the page takes from its address to "ready to connect", without a network. Aim: 1 s with a CPU 4 x slower.

A number stands on the screen until the next one comes, so it is up to one interval of STATUS older than this. Aims:
250 ms from conversion to pixel, 400 ms from break to tone. Not measured: a telephone, a real radio, Wi-Fi.
"""

import argparse
import asyncio
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from browser import BLUETOOTH, PAGE, Phone, browser_on, missing, site_of

from breakyard.run import Run, read_run

KGF = 9.80665
KEY = bytes(range(1, 33))

RECORDER = """
  window.painted = []; window.tones = [];
  const began = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (...all) {
    window.tones.push([performance.timeOrigin + performance.now(),
      this.context.baseLatency ?? 0, this.context.outputLatency ?? 0]);
    return began.apply(this, all);
  };
  addEventListener("DOMContentLoaded", () => {
    const number = document.querySelector("#number");
    new MutationObserver(() => {
      const text = number.textContent;
      const after = new MessageChannel();  // runs once this frame is painted
      after.port1.onmessage = () => window.painted.push([performance.timeOrigin + performance.now(), text]);
      after.port2.postMessage(0);
    }).observe(number, { childList: true, characterData: true, subtree: true });
  });
"""


CONNECTABLE = """
  new MutationObserver((_, observer) => {
    if (!document.documentElement?.dataset.ready) return;
    observer.disconnect();
    requestAnimationFrame(() => {
      const after = new MessageChannel();  // runs once this frame is painted
      after.port1.onmessage = () => window.connectable = performance.now();
      after.port2.postMessage(0);
    });
  }).observe(document, { subtree: true, attributes: true, childList: true });
"""
"""When the buttons to connect by are on the screen, by the page's clock; a driver that asks sees it later."""


@dataclass
class Seen:
    """What the page noted, in seconds of this computer's clock."""

    painted: list[tuple[float, float]]
    tones: list[float]
    speaker_ms: float


async def noted(phone: Phone) -> Seen:
    """Take the page's notes."""
    painted, tones = await phone.page.evaluate("[window.painted, window.tones]")
    numbers = [(ms / 1000.0, float(text)) for ms, text in painted if text.replace(".", "").isdigit()]
    latency = max((1000.0 * (base + out) for _, base, out in tones), default=0.0)
    return Seen(numbers, [ms / 1000.0 for ms, *_ in tones], latency)


def ages_ms(seen: Seen, wall_s: np.ndarray, load_kgf: np.ndarray) -> tuple[list[float], float | None]:
    """Ages of the numbers that were shown while the load rose, and how long after the break a tone began."""
    top = int(np.argmax(load_kgf))
    low, high = 0.1 * load_kgf[top], 0.97 * load_kgf[top]
    begin = int(np.flatnonzero(load_kgf[:top] < low)[-1])
    ages = []
    for painted_s, value in seen.painted:
        if not (low < value < high and wall_s[begin] < painted_s < wall_s[top] + 2.0):
            continue
        # Where the load stood still, nobody can tell which of the samples was shown.
        alike = np.flatnonzero(
            (np.abs(load_kgf - value) <= 0.6) & (wall_s <= painted_s) & (wall_s > painted_s - 3.0)
        )
        if len(alike) and wall_s[alike[-1]] - wall_s[alike[0]] < 0.05:
            ages.append(1000.0 * (painted_s - float(np.mean(wall_s[alike]))))
    fallen = top + int(np.flatnonzero(load_kgf[top:] < 0.6 * load_kgf[top])[0])
    after = [tone for tone in seen.tones if tone > wall_s[top]]
    return ages, 1000.0 * (after[0] - wall_s[fallen]) if after else None


def loads(run: Run, counts_per_kgf: float) -> np.ndarray:
    """Loads above the run's first half second."""
    zero = float(np.mean(run.counts[run.time_s < run.time_s[0] + 0.5]))
    return (run.counts - zero) / counts_per_kgf


def told(name: str, ages: list[float], tones: list[float], speaker_ms: float) -> None:
    """Print one way's figures."""
    found = np.array(ages)
    print(
        f"{name}: conversion to pixel median {np.median(found):.0f} ms, 99 % {np.quantile(found, 0.99):.0f} ms, "
        f"largest {found.max():.0f} ms ({len(found)} numbers); break to tone "
        + (", ".join(f"{one:.0f}" for one in tones) or "none heard")
        + f" ms (and {speaker_ms:.0f} ms to the loudspeaker by the browser's estimate)",
        flush=True,
    )


async def offline_start(folder: Path, starts: int = 5) -> None:
    """From the address to "ready to connect", the server gone, nothing in the browser's memory, its CPU 4 x slower."""
    site = folder / "site"
    shutil.copytree(PAGE, site)
    with site_of(site) as address:
        async with browser_on(folder / "offline") as context:
            phone = await Phone.at(context, address)
            await phone.page.evaluate("navigator.serviceWorker.ready.then(() => null)")
    shutil.rmtree(site)
    took: dict[int, list[float]] = {1: [], 4: []}
    for slower, found in took.items():
        for _ in range(starts):
            async with browser_on(folder / "offline") as context:  # a new process each time
                await context.add_init_script(CONNECTABLE)
                page = await context.new_page()
                talk = await context.new_cdp_session(page)
                await talk.send("Emulation.setCPUThrottlingRate", {"rate": slower})
                await page.goto(address)
                await page.wait_for_function("'connectable' in window")
                found.append(float(await page.evaluate("window.connectable")))
    print(
        "offline start to ready to connect: "
        + "; ".join(
            f"CPU {slower} x slower median {np.median(found):.0f} ms, largest {max(found):.0f} ms"
            for slower, found in took.items()
        ),
        flush=True,
    )


async def through_a_computer(folder: Path, pulls: int) -> None:
    """`breakyard field SESSION --link virtual`, as a user begins it."""
    session = folder / "session"
    command = [sys.executable, "-m", "breakyard"]
    subprocess.run([*command, "demo", "--folder", str(session), "--json"], check=True, capture_output=True)
    field = [*command, "field", str(session), "--link", "virtual", "--here", "--port", "0", "--json"]
    process = subprocess.Popen(field, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    assert process.stdout is not None
    said = ""
    while not said.rstrip().endswith("}"):
        said += process.stdout.readline()
    start = json.loads(said)
    ages: list[float] = []
    tones: list[float] = []
    speaker = 0.0
    try:
        async with browser_on(folder / "profile") as context:
            await context.add_init_script(RECORDER)
            phone = await Phone.at(context, f"{start['pages'][0]}#code={start['code']}")
            await phone.sees("#link-line", "connected")
            await phone.page.click("h1")
            await phone.page.wait_for_timeout(2000)
            await phone.page.click("#zero")
            for _ in range(pulls):
                before = set((session / "runs").glob("*.run"))
                await phone.page.click("#arm")
                await phone.sees("#lamp", "waiting for the pull")
                await phone.page.evaluate("window.painted = []; window.tones = [];")
                await phone.page.click("#simulate")
                await phone.sees("#lamp", "recording")
                await phone.sees("#lamp", "idle")
                while not (new := set((session / "runs").glob("*.run")) - before):
                    await phone.page.wait_for_timeout(200)
                seen = await noted(phone)
                run = read_run(new.pop().read_bytes())
                assert run.start_utc_s is not None
                found, tone = ages_ms(seen, run.time_s + run.start_utc_s, loads(run, 6467.0))
                ages += found
                tones += [] if tone is None else [tone]
                speaker = max(speaker, seen.speaker_ms)
    finally:
        process.terminate()
        process.wait(30)
        process.stdout.close()
    told("through a computer", ages, tones, speaker)


async def over_the_radio(folder: Path, address: str) -> None:
    """Web Bluetooth, the stand-in of org.bluez, the virtual radio; a connection event every 30 ms."""
    from ble_air.air import Air
    from ble_air.bluez import Bluez
    from demo_cell import CALIBRATION, write_pull

    from breakyard.device.client.client import Client
    from breakyard.device.client.download import fetch
    from breakyard.simulate.logger import VirtualLogger

    write_pull(folder / "pull.feed", 500.0)
    logger = VirtualLogger(
        "micropython", ("--serial", "0102030405060708", "--interval-us", "6667", "--radio", "1")
    )
    air = Air(logger, slice_s=0.01)
    passed: list[tuple[float, float]] = []

    async def note() -> None:
        passed.append((logger.now_ms, time.time()))
        # Device time never runs ahead of the clock that the browser's timers follow.
        ahead_s = (logger.now_ms - passed[0][0]) / 1000.0 - (time.time() - passed[0][1])
        await asyncio.sleep(max(ahead_s, 0.0))

    air.on_slice = note
    async with air, Bluez(address, air.link, host_mtu=247):
        async with Client(logger.link(), answer_timeout_s=60) as cable:
            await cable.set_key(KEY)
            await cable.store_calibration(CALIBRATION)
        env = {**os.environ, "DBUS_SESSION_BUS_ADDRESS": address}
        with site_of() as site:
            async with browser_on(folder / "radio", flags=BLUETOOTH, env=env) as context:
                await context.add_init_script(RECORDER)
                phone = await Phone.at(context, site)
                await phone.choose()
                await phone.sees("#key-form", "has a key")
                await phone.page.fill("#key", KEY.hex())
                await phone.page.click("text=Keep the key")
                await phone.sees("#well-lines", "known here")
                await logger.load(folder / "pull.feed")
                await phone.page.wait_for_timeout(2500)
                await phone.page.click("#zero")
                await phone.page.click("#arm")
                await phone.sees("#lamp", "recording")
                await phone.sees("#runs", "Largest sample, not yet read")
                run_number = await phone.complete_run()
                seen = await noted(phone)
        async with Client(logger.link(), answer_timeout_s=60) as cable:
            path = folder / "cable.run"
            assert await fetch(cable, run_number, path) is not None
    run = read_run(path.read_bytes())
    assert run.begin is not None
    device_ms = 1000.0 * (run.begin.first_s + run.time_s - run.time_s[0]) + run.begin.first_us / 1000.0
    at, wall = np.array(passed).T
    ages, tone = ages_ms(seen, np.interp(device_ms, at, wall), loads(run, 6467.0))
    told("over the virtual radio, 30 ms", ages, [] if tone is None else [tone], seen.speaker_ms)


def main() -> None:
    """Measure both ways."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pulls", type=int, default=3)
    asked = parser.parse_args()
    if missing():
        raise SystemExit(missing())
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        asyncio.run(offline_start(folder))
        asyncio.run(through_a_computer(folder, asked.pulls))
        from ble_air.private_bus import PrivateBus

        with PrivateBus(folder) as bus:
            os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = bus.address
            asyncio.run(over_the_radio(folder, bus.address))


if __name__ == "__main__":
    main()
