"""From what was seen to verdicts. Limits without a source are own choices; hardware_notes/self_test.md lists them."""

from typing import Final

from breakyard.device.selftest.results import Check, left_out, verdict
from breakyard.device.selftest.seen import Clock, Press, SelfTestResults, Store, Supply
from breakyard.device.selftest.shunt import Shunt
from breakyard.plan.ranges import counts_per_mv_v, noise_nv
from breakyard.wire.layout import Fault, ResetCause, StoreTest

FAST_HZ: Final = (60.0, 160.0)
SLOW_HZ: Final = (7.0, 13.0)
"""What a high and a low RATE pin give, wide enough for the oscillators reported."""

SUPPLY_V: Final = 3.3
"""Of the bridge; the noise in counts hangs on it."""

NOISE_FACTOR: Final = 5.0
ZERO_SHARE: Final = 0.1
PRESS_FACTOR: Final = 20.0
BACK_FACTOR: Final = 5.0
BACK_SHARE: Final = 0.02
SHUNT_SHARE: Final = 0.02
"""A meter's 1 % on the bridge, 0.1 % of the resistor, and as much again."""
STREAM_BYTES_PER_S: Final = 750.0
"""150 samples of five bytes."""
LINK_FACTOR: Final = 3.0
FEWEST_SAMPLES: Final = 20
FREE_MEMORY: Final = 20_000
"""Bytes: a radio link needs 8 KiB for what is under way, and as much again for its notifications."""
DIP_SHARE: Final = 0.1
CLOCK_SHARE: Final = 0.001
"""A quartz is right to 0.0001; ten times that is a wrong clock, not a warm one."""
LEAST_ROOM_S: Final = 600

_FAULTS: Final = {
    Fault.SILENT: ("the converter does not deliver", "power at the converter, DT and SCK", "A"),
    Fault.SILENT_HIGH: (
        "the data line stays high",
        "power at the converter, DT and SCK not swapped, no broken wire",
        "A",
    ),
    Fault.SILENT_LOW: ("the data line stays low", "DT shorted to ground or on the wrong pin", "A"),
    Fault.NO_CLOCK: ("the clock does not reach the converter", "the SCK wire and its pin", "A"),
    Fault.ALL_ONES: ("all bits are ones", "the DT wire", "D"),
    Fault.OUT_OF_STEP: ("readings are out of step", "the SCK wire, the supply", "F"),
    Fault.ON_HIGH_RAIL: ("the count stays on the high rail", "the cell's four wires", "D"),
    Fault.ON_LOW_RAIL: ("the count stays on the low rail", "the cell's four wires", "D"),
    Fault.WRONG_RATE: ("a rate that the converter cannot have", "RATE's joint, the supply", "C"),
}


def rate_name(rate_hz: float) -> str | None:
    """ "fast" or "slow", by what the RATE pin must be; None for a rate that neither gives."""
    if FAST_HZ[0] <= rate_hz <= FAST_HZ[1]:
        return "fast"
    return "slow" if SLOW_HZ[0] <= rate_hz <= SLOW_HZ[1] else None


def noise_limit_counts(rate_hz: float, gain: int) -> float:
    """Noise of the data sheet at this rate in counts, at 3.3 V: 33 at 10/s and 59 at 80/s and gain 128."""
    nominal = 10.0 if rate_hz < (SLOW_HZ[1] + FAST_HZ[0]) / 2 else 80.0
    return noise_nv(nominal, gain) * 1e-6 / SUPPLY_V * counts_per_mv_v(gain)


def conversions(seen: SelfTestResults) -> Check:
    """Whether enough good ones came in the time, and what the logger calls it when not."""
    good = seen.usable - seen.on_rail
    said, look, letter = f"{good} good ones in {seen.span_ms / 1000:.1f} s", "power, wires", "A"
    if seen.fault in _FAULTS:
        why, look, letter = _FAULTS[Fault(seen.fault)]
        said = f"{said}: {why}"
    return verdict("conversions", good >= FEWEST_SAMPLES, said, look, letter, usable=good, fault=seen.fault)


def rate(seen: SelfTestResults, *, slow_wanted: bool) -> Check:
    """The measured rate, and what it says of the RATE pin."""
    hz = seen.rate_hz
    # At a wrong rate the logger doubts every sample; without good ones for another reason there is no rate.
    if not hz or (seen.usable < FEWEST_SAMPLES and seen.fault != Fault.WRONG_RATE):
        return left_out("rate", "too few conversions to tell")
    name = rate_name(hz)
    said = f"{hz:.2f} a second" + (f": RATE is {'high' if name == 'fast' else 'low'}" if name else "")
    wanted = "slow" if slow_wanted else "fast"
    if name is None:
        look, letters = "neither the fast nor the slow rate: RATE's joint, wires, supply", "C"
    elif slow_wanted:
        look, letters = "the slow rate was asked for: tie RATE low for this test", "B"
    else:
        look, letters = "sudden peaks would be missed: tie RATE high", "B"
    return verdict("rate", name == wanted, said, look, letters, rate_hz=hz)


def stuck(seen: SelfTestResults) -> Check:
    """Whether the count changes and keeps off the rails."""
    if seen.usable < FEWEST_SAMPLES:
        return left_out("off the rails", "too few conversions to tell")
    good = not seen.on_rail and seen.lowest_counts != seen.highest_counts
    said = f"from {seen.lowest_counts} to {seen.highest_counts}"
    if seen.on_rail:
        said += f", {seen.on_rail} on a rail"
    elif not good:
        said = f"the count never changes: {seen.lowest_counts}"
    look = "open, shorted or swapped wires of the cell, overload"
    return verdict("off the rails", good, said, look, "D", on_rail=seen.on_rail)


def noise(seen: SelfTestResults, name: str = "noise") -> Check:
    """Against the data sheet, with the cell at rest."""
    if seen.usable < FEWEST_SAMPLES or not seen.noise_millicounts:
        return left_out(name, "no count that changes")
    limit = noise_limit_counts(seen.rate_hz, seen.gain)
    found = f"{seen.noise_counts:.0f} counts rms, {seen.noise_counts / limit:.1f} times the data sheet's {limit:.0f}"
    look = "is the cell still? Then E- to ground, supply, shield"
    return verdict(
        name,
        seen.noise_counts <= NOISE_FACTOR * limit,
        found,
        look,
        "E",
        noise_counts=seen.noise_counts,
        data_sheet_counts=limit,
        at_rate_hz=seen.rate_hz,
    )


def zero(seen: SelfTestResults, capacity_counts: int) -> Check:
    """Without load: within a tenth of the cell's range, which is that of a 2 mV/V cell when it is not set."""
    if seen.usable < FEWEST_SAMPLES or seen.on_rail >= seen.usable:
        return left_out("zero", "too few conversions to tell")
    full = capacity_counts or 2.0 * counts_per_mv_v(seen.gain)
    share = seen.mean_counts / full
    found = f"{seen.mean_counts} counts, {seen.mean_counts / counts_per_mv_v(seen.gain):.4f} mV/V"
    look = "loaded? mounted under tension? overloaded once?"
    return verdict(
        "zero", abs(share) <= ZERO_SHARE, found, look, "H", zero_counts=seen.mean_counts, share=share
    )


def pulses(seen: SelfTestResults) -> Check:
    """The extra clock pulses, which choose the gain, are read too and must be ones."""
    if not seen.samples:
        return left_out("extra clock pulses", "no conversions")
    if seen.fault == Fault.WRONG_RATE:
        return left_out("extra clock pulses", "the rate is wrong, and so every sample doubtful")
    found = "all ones" if not seen.out_of_step else f"{seen.out_of_step} of {seen.samples} out of step"
    return verdict(
        "extra clock pulses", not seen.out_of_step, found, "the SCK wire, the supply", "F", **_n(seen)
    )


def _n(seen: SelfTestResults) -> dict[str, int]:
    return {"out_of_step": seen.out_of_step, "samples": seen.samples}


def missed(seen: SelfTestResults) -> Check:
    """Nothing missed, nothing late."""
    if not seen.samples:
        return left_out("nothing missed or late", "no conversions")
    good = not seen.missed and not seen.late
    found = f"{seen.missed} missed, {seen.late} late in {seen.span_ms / 1000:.1f} s"
    look = "this board's own driver? Install again"
    return verdict(
        "nothing missed or late", good, found, look, "G", missed=seen.missed, late=seen.late, span_s=_s(seen)
    )


def _s(seen: SelfTestResults) -> float:
    return seen.span_ms / 1000.0


def press(seen: Press | None, why_not: str) -> Check:
    """The builder pressed the cell: an excursion, and back."""
    if seen is None:
        return left_out("answer to a press", why_not)
    if not seen.pressed:
        found = f"nothing but {seen.largest} counts"
        look, letters = "signal wires of the cell; was the cell pressed at all?", "D"
    elif not seen.returned:
        found = f"{seen.largest} counts, and {seen.left} of them stayed"
        look, letters = "something rubs, or still presses", "I"
    else:
        found, look, letters = f"{seen.largest} counts, and back to {seen.left}", "", ""
    good = seen.pressed and seen.returned
    return verdict(
        "answer to a press", good, found, look, letters, largest_counts=seen.largest, left_counts=seen.left
    )


def shunt(shunt: Shunt, before: SelfTestResults, on: SelfTestResults, after: SelfTestResults) -> Check:
    """The shift by a resistor across one arm, against what it must be; the cell at rest before and after."""
    if min(seen.usable - seen.on_rail for seen in (before, on, after)) < FEWEST_SAMPLES:
        return left_out("shunt", "too few conversions to tell")
    expected = shunt.counts(on.gain)
    shift = round(on.mean_counts - (before.mean_counts + after.mean_counts) / 2)
    apart = after.mean_counts - before.mean_counts
    share = abs(shift) / expected - 1.0
    found = f"{shift:+d} counts, {100.0 * share:+.2f} % from the {expected:.0f} of {shunt.ohm:g} ohm"
    look = "the resistor, A+ to A- in ohms, gain, wires and plug"
    good = abs(share) <= SHUNT_SHARE
    if abs(apart) > SHUNT_SHARE * expected:
        good, found = False, f"{apart:+d} counts stayed when it was taken off"
        look = "a load on the cell? a wire that moved? then once more"
    return verdict("shunt", good, found, look, "I", shunt_counts=shift, expected_counts=round(expected))


def link(bytes_per_s: float | None) -> Check:
    """Against what a stream of samples needs."""
    if bytes_per_s is None:
        found = "bytes were lost on the way"
        return verdict("link", False, found, "nearer; another cable", "J", bytes_per_s=None)
    needed = LINK_FACTOR * STREAM_BYTES_PER_S
    found = f"{bytes_per_s:.0f} bytes a second, {bytes_per_s / STREAM_BYTES_PER_S:.0f} times the live stream"
    return verdict(
        "link",
        bytes_per_s >= needed,
        found,
        "nearer; fewer radios; another cable",
        "J",
        bytes_per_s=bytes_per_s,
    )


def store(seen: Store) -> Check:
    """A block written, read back, compared, removed."""
    if seen.outcome is None:
        return left_out("store", "needs the key over this link (breakyard logger key), or a cable")
    if seen.outcome == StoreTest.NO_FLASH:
        return left_out("store", "this board keeps runs in memory")
    words = {
        StoreTest.SAME: f"{seen.bytes} bytes written in {seen.write_ms} ms and read back alike",
        StoreTest.NOT_WRITTEN: "the block could not be written",
        StoreTest.NOT_READ: "the block could not be read back",
        StoreTest.DIFFERENT: "something else came back than was written",
    }
    return verdict(
        "store",
        seen.outcome == StoreTest.SAME,
        words.get(StoreTest(seen.outcome), "?") if seen.outcome in list(StoreTest) else "?",
        "is the flash full? Fetch and erase runs; else the board",
        "K",
        write_s=seen.write_ms / 1000.0,
        read_s=seen.read_ms / 1000.0,
    )


def room(seen: Supply) -> Check:
    """How long the store will take samples."""
    found = f"{seen.seconds_left // 60} minutes of samples"
    good = seen.seconds_left >= LEAST_ROOM_S
    return verdict("room", good, found, "fetch runs and erase them", "K", seconds_left_s=seen.seconds_left)


def supply(seen: Supply) -> Check:
    """No restart, no dip."""
    cause = ResetCause(seen.reset_cause).name.lower() if seen.reset_cause in list(ResetCause) else "unknown"
    why = ""
    if seen.restarted:
        why = "the logger restarted during the test"
    elif seen.reset_cause == ResetCause.WATCHDOG:
        why = "the watchdog restarted it"
    elif seen.crash_lines:
        why = "it restarted after a crash: " + seen.crash_lines[-1]
    elif seen.battery_mv and seen.lowest_battery_mv < (1.0 - DIP_SHARE) * seen.battery_mv:
        why = f"the battery dipped to {seen.lowest_battery_mv} mV"
    volts = f"{seen.battery_mv / 1000:.2f} V" if seen.battery_mv else "battery not wired"
    found = why or f"no restart, {volts}, started by {cause}"
    return verdict(
        "supply",
        not why,
        found,
        "capacitor at the supply, thicker wires, fresh cells",
        "L",
        battery_v=seen.battery_mv / 1000.0 if seen.battery_mv else None,
        lowest_battery_v=seen.lowest_battery_mv / 1000.0 if seen.battery_mv else None,
    )


def memory(seen: SelfTestResults) -> Check:
    """Enough left for the links."""
    if not seen.free_memory:
        return left_out("free memory", "this board does not report it")
    return verdict(
        "free memory",
        seen.free_memory >= FREE_MEMORY,
        f"{seen.free_memory} bytes",
        "another image of MicroPython? Install compiled files",
        "M",
        free_bytes=seen.free_memory,
    )


def clock(seen: Clock) -> Check:
    """The logger's clock against this computer's."""
    if seen.uncertainty > CLOCK_SHARE:
        return left_out("time", "the link is too slow to tell", uncertainty=seen.uncertainty)
    found = f"{seen.relative * 1e6:+.0f} ppm, give or take {seen.uncertainty * 1e6:.0f}"
    good = abs(seen.relative) <= CLOCK_SHARE + seen.uncertainty
    return verdict(
        "time",
        good,
        found,
        "the board's clock, or this computer's",
        "M",
        relative=seen.relative,
        uncertainty=seen.uncertainty,
    )
