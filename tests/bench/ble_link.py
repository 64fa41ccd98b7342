"""What the link over Bluetooth carries, against what its pacing allows; whole chain, in device time.

    python tests/bench/ble_link.py [--minutes 30] [--json]

A run of so many minutes at 150 samples a second (invented) is recorded by the virtual logger and downloaded through
bumble's virtual link, the stand-in of org.bluez and bleak. Pacing is that of firmware/virtual/radio.py: a connection
event every interval, a number of packets in each. The limit is packets x (MTU - 3) per interval. Device time stands
still while the host thinks, but for --rest milliseconds of real time per event, so a slow or busy machine shows as a
lower share.

On the air each notification adds ATT 3 and L2CAP 4 bytes, and each packet of the link layer that it needs (of up to
251 bytes, the data length extension) a header of 2, access address 4, preamble 1 and CRC 3 bytes (Core specification,
Vol 6, Part B, 2.1 and Vol 3, Parts A and F). "With the host's" adds its writes with the same headers, and 5 + 10 bytes
for the response to each. Empty packets, with which the other side only takes its turn, are not counted.
"""

import argparse
import asyncio
import json
import os
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from ble_air.air import ATT_AND_L2CAP, Air
from ble_air.bluez import Bluez
from ble_air.private_bus import PrivateBus, missing

from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.device.link.ble import BleLink
from breakyard.simulate.logger import VirtualLogger

RATE_HZ = 150
LINK_LAYER = 10
RESPONSE = 1 + 4 + LINK_LAYER
KEY = bytes(range(1, 33))
PACINGS = (
    (247, 30_000, 4),
    (247, 15_000, 4),
    (247, 50_000, 6),
    (517, 30_000, 2),  # two packets of the link layer each
    (185, 30_000, 4),
    (23, 30_000, 6),
)


async def measure(address: str, minutes: float, rest_s: float, folder: Path) -> list[dict[str, float]]:
    """Record once, then download at each pacing."""
    found = []
    logger = VirtualLogger(
        "micropython", ("--radio", "1", "--interval-us", str(10**6 // RATE_HZ), "--capacity", "1700000")
    )
    async with Air(logger, slice_s=1.0) as air:
        async with Client(logger.link(), answer_timeout_s=600) as cable:
            await cable.set_key(KEY)
            run = await cable.start()
            while logger.now_ms < minutes * 60_000:
                async with air.moved:
                    await air.moved.wait()
            await cable.stop()
            reference = folder / "cable.run"
            end = await fetch(cable, run, reference)
        assert end is not None
        for mtu, interval_us, packets in PACINGS:
            await air.set(interval_us=interval_us, packets=packets, buffers=2 * packets)
            air.slice_s, air.rest_s = interval_us / 1e6, rest_s
            async with Bluez(address, air.link, host_mtu=mtu) as _:
                link = BleLink(lost_after_s=600)
                async with Client(link, answer_timeout_s=600, key=KEY) as client:
                    path = folder / f"{mtu}-{interval_us}.run"
                    bytes_before, count_before = air.notified_bytes, air.notifications
                    packets_before, written_before = air.notified_packets, air.written_bytes
                    writes_before = air.writes
                    began_ms, began_s = logger.now_ms, time.perf_counter()
                    await fetch(client, run, path)
                    seconds = (logger.now_ms - began_ms) / 1000
                    sent, count = air.notified_bytes - bytes_before, air.notifications - count_before
                    on_air = sent + count * ATT_AND_L2CAP
                    on_air += (air.notified_packets - packets_before) * LINK_LAYER
                    back = air.written_bytes - written_before
                    back += (air.writes - writes_before) * (ATT_AND_L2CAP + LINK_LAYER + RESPONSE)
            assert path.read_bytes() == reference.read_bytes()
            limit = packets * (mtu - 3) / (interval_us / 1e6)
            found.append(
                {
                    "mtu": mtu,
                    "interval_ms": interval_us / 1000,
                    "packets_per_event": packets,
                    "bytes_per_s": sent / seconds,
                    "share_of_limit": sent / seconds / limit,
                    "att_payload_per_sample": sent / end.samples,
                    "l2cap_per_sample": (sent + count * ATT_AND_L2CAP) / end.samples,
                    "air_per_sample": on_air / end.samples,
                    "air_with_host_per_sample": (on_air + back) / end.samples,
                    "writes_per_s": (air.writes - writes_before) / seconds,
                    "real_s": time.perf_counter() - began_s,
                }
            )
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--rest", type=float, default=6, help="real milliseconds per connection event")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    if missing():
        sys.exit(f"left out: {missing()}")
    with tempfile.TemporaryDirectory() as name, PrivateBus(Path(name)) as bus:
        os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = bus.address
        found = asyncio.run(measure(bus.address, options.minutes, options.rest / 1000, Path(name)))
    if options.json:
        print(json.dumps(found, indent=1))
        return
    print(
        "  MTU  interval  packets    bytes/s  of limit  bytes per sample: ATT, L2CAP, on the air, with the host's"
    )
    for one in found:
        print(
            f"{one['mtu']:5} {one['interval_ms']:6.0f} ms {one['packets_per_event']:8} {one['bytes_per_s']:10.0f}"
            f" {one['share_of_limit']:8.0%} {one['att_payload_per_sample']:20.2f} {one['l2cap_per_sample']:6.2f}"
            f" {one['air_per_sample']:6.3f} {one['air_with_host_per_sample']:6.3f}"
        )


if __name__ == "__main__":
    main()
