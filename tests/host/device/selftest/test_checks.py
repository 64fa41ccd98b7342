"""Verdicts from plain numbers: each limit on both sides, and words that lead to a page that exists."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from breakyard.device.selftest import Verdict, checks
from breakyard.device.selftest.press import PressDetector
from breakyard.device.selftest.results import FAULTS, Check
from breakyard.device.selftest.seen import Clock, Press, SelfTestResults, Store, Supply
from breakyard.device.selftest.shunt import Shunt, parse_ohm
from breakyard.errors import UsageError
from breakyard.wire.layout import Fault, ResetCause, StoreTest

ROOT = Path(__file__).parents[4]
SOUND = SelfTestResults(920, 9989, 0, 0, 0, 0, 0, 20000, 19800, 20200, 59000, 1, 60000)
POWERED = Supply(False, ResetCause.POWER, 4900, 4850, 1500)


def failed(check: Check) -> bool:
    assert check.verdict != Verdict.LEFT_OUT
    return check.verdict == Verdict.FAILED


def test_noise_of_the_data_sheet_in_counts() -> None:
    """50 and 90 nV rms at gain 128 (HX711 data sheet) against 3.3 V / 128 over 2**24 counts."""
    for rate_hz, nv in ((10.8, 50.0), (92.0, 90.0)):
        by_hand = nv * 1e-9 / (3.3 / 128) * 2**24
        assert checks.noise_limit_counts(rate_hz, 128) == pytest.approx(by_hand, rel=1e-9)


@pytest.mark.parametrize(("hz", "name"), [(6.9, None), (7, "slow"), (13, "slow"), (13.1, None), (59.9, None)])
def test_slow_rates(hz: float, name: str | None) -> None:
    assert checks.rate_name(hz) == name


@pytest.mark.parametrize(("hz", "name"), [(60, "fast"), (144.7, "fast"), (160, "fast"), (160.1, None)])
def test_fast_rates(hz: float, name: str | None) -> None:
    assert checks.rate_name(hz) == name


def test_each_limit_on_both_sides() -> None:
    """Just inside passes, just beyond fails."""
    limit = checks.noise_limit_counts(92.0, 128)
    for counts, wrong in ((4.99 * limit, False), (5.01 * limit, True)):
        assert failed(checks.noise(replace(SOUND, noise_millicounts=round(counts * 1000)))) == wrong
    for mean, wrong in ((429_000, False), (430_000, True), (-430_000, True)):
        assert failed(checks.zero(replace(SOUND, mean_counts=mean), 0)) == wrong
    assert failed(checks.zero(replace(SOUND, mean_counts=60_000), 500_000))
    for samples, wrong in ((20, False), (19, True)):
        assert failed(checks.conversions(replace(SOUND, samples=samples))) == wrong
    for speed, wrong in ((2250.0, False), (2249.0, True)):
        assert failed(checks.link(speed)) == wrong
    for seconds, wrong in ((600, False), (599, True)):
        assert failed(checks.room(replace(POWERED, seconds_left=seconds))) == wrong
    for free, wrong in ((20_000, False), (19_999, True)):
        assert failed(checks.memory(replace(SOUND, free_memory=free))) == wrong
    for drift, wrong in ((0.0014, False), (-0.0014, False), (0.0016, True), (-0.0016, True)):
        assert failed(checks.clock(Clock(drift, 0.0005, 12.0))) == wrong


def test_what_cannot_be_told_is_left_out() -> None:
    """Never a verdict without a measurement."""
    nothing = SelfTestResults(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, Fault.SILENT_HIGH)
    for check in (
        checks.rate(nothing, slow_wanted=False),
        checks.stuck(nothing),
        checks.noise(nothing),
        checks.zero(nothing, 0),
        checks.pulses(nothing),
        checks.missed(nothing),
        checks.press(None, "nobody to ask"),
        checks.store(Store(None)),
        checks.store(Store(StoreTest.NO_FLASH)),
        checks.memory(nothing),
        checks.clock(Clock(0.0, 0.002, 1.0)),
    ):
        assert check.verdict == Verdict.LEFT_OUT
        assert check.found
    assert failed(checks.conversions(nothing))
    assert "data line stays high" in checks.conversions(nothing).found


@pytest.mark.parametrize(
    "changed",
    [
        {"restarted": True},
        {"reset_cause": int(ResetCause.WATCHDOG)},
        {"crash_lines": ("ValueError: x",)},
        {"lowest_battery_mv": 4400},
    ],
)
def test_a_supply_that_gave_way(changed: dict[str, object]) -> None:
    assert not failed(checks.supply(POWERED))
    assert failed(checks.supply(replace(POWERED, **changed)))  # type: ignore[arg-type]


def test_letters_are_headings_of_the_page() -> None:
    """Every line that says where to look names a letter that the page has."""
    page = (ROOT / FAULTS).read_text(encoding="utf-8")
    source = (ROOT / "host/breakyard/device/selftest/checks.py").read_text(encoding="utf-8")
    letters = set(re.findall(r'"([A-Z])"', source))

    assert letters >= set("ABCDEFGHIJKL")
    for letter in letters:
        assert re.search(rf"^## (?:[A-Z]\. \w+, )*{letter}\. ", page, re.M), letter


def test_a_press_that_stays() -> None:
    """A cell that keeps a part of the load is not let pass; noise alone is no press."""
    detector = PressDetector(1000, 60.0)
    for counts in [1000, 1100, 900] * 20:
        assert not detector.take(counts)
    assert not detector.seen.pressed
    for counts in [3000, 40_000, 40_000] + [5000] * 50:
        assert not detector.take(counts)
    seen = detector.seen

    assert (seen.pressed, seen.returned, seen.largest, seen.left) == (True, False, 39_000, 4000)
    assert failed(checks.press(seen, ""))
    assert [detector.take(1000) for _ in range(5)] == [False] * 4 + [True]
    assert not failed(checks.press(detector.seen, ""))
    assert failed(checks.press(Press(500, False, False, 0), ""))


def test_a_shunt_by_the_equations_of_the_bridge() -> None:
    """0.8735 mV/V for 100 kilohm across 350 ohm, from the two potential dividers; 2.18 mV/V for 40 kilohm."""
    for ohm in (100e3, 40e3, 87e3):
        arm = 350.0 * ohm / (350.0 + ohm)
        dividers = 350.0 / (350.0 + arm) - 0.5
        assert Shunt(ohm).mv_v == pytest.approx(1000.0 * dividers, rel=1e-9)
    assert Shunt(100e3).mv_v == pytest.approx(0.8735, abs=5e-5)
    assert Shunt(100e3).counts(128) == pytest.approx(1_875_800, abs=50)
    assert Shunt(40e3).mv_v == pytest.approx(2.18, abs=0.005)


def test_resistors_in_the_excitation_wires_do_not_matter() -> None:
    """404 ohm from E+ to E- instead of 350 (the sample sheet of OIML R 60): solved as a network, 0.02 % at most."""
    ohm, arm, series = 100e3, 350.0, 27.0
    # Nodes: top and bottom of the bridge, A+, A-; 1 V from E+ to E-, the resistor from A+ to E-.
    g, s, r = 1.0 / arm, 1.0 / series, 1.0 / ohm
    matrix = [
        [2 * g + s, 0.0, -g, -g],
        [0.0, 2 * g + s, -g, -g],
        [-g, -g, 2 * g + r, 0.0],
        [-g, -g, 0.0, 2 * g],
    ]
    _, _, a_plus, a_minus = np.linalg.solve(matrix, [s, 0.0, 0.0, 0.0])

    assert 1000.0 * (a_minus - a_plus) == pytest.approx(Shunt(ohm).mv_v, rel=2e-4)


@pytest.mark.parametrize(
    ("text", "ohm"), [("100k", 1e5), ("100 kohm", 1e5), ("87000", 87e3), ("1M", 1e6), ("99.9 K", 99.9e3)]
)
def test_resistances(text: str, ohm: float) -> None:
    """As one writes them."""
    assert parse_ohm(text) == pytest.approx(ohm)


def test_resistors_that_are_no_shunt() -> None:
    """Each says what to give."""
    for make in (lambda: parse_ohm("-3k"), lambda: Shunt(500.0), lambda: Shunt(1e5, 3.0)):
        with pytest.raises(UsageError, match=r"100k|about 350"):
            make()
