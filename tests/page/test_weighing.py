"""The page's mean of a swing is the host's, window for window; its words claim no interval."""

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from breakyard.pull.weighing import empty_before, hanging

MODULE = Path(__file__).parents[2] / "host" / "page" / "weighing.mjs"


def in_node(expression: str, given: object) -> Any:
    """What an expression over the module `page` and what was given comes to."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node (20 or later)")
    script = f"""import * as page from {json.dumps(MODULE.as_uri())};
      let text = ""; for await (const piece of process.stdin) text += piece;
      const given = JSON.parse(text);
      process.stdout.write(JSON.stringify({expression}));"""
    done = subprocess.run(
        [node, "--input-type=module", "-e", script],
        input=json.dumps(given),
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout)


def swinging(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Slings, then something of 500 to 2500 N that swings, at 92 a second with a gap."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 45.0, 1 / 92)
    load = np.where(time < 14.0, 60.0, 60.0 + rng.uniform(500.0, 2500.0))
    load = load * (1 + 0.02 * np.sin(2 * np.pi * time / rng.uniform(1.5, 2.5))) + rng.normal(0, 1, len(time))
    keep = (time < 20.0) | (time > 20.7)
    return time[keep], load[keep]


def test_the_same_windows_and_means_as_the_host() -> None:
    """Ten recordings: where it was averaged, the mean and its standard uncertainty, to rounding."""
    cases = [swinging(seed) for seed in range(10)]
    given = [[time.tolist(), load.tolist()] for time, load in cases]
    found = in_node("given.map(([time, load]) => page.weighed(time, load))", given)

    for (time, load), one in zip(cases, found, strict=True):
        hung = hanging(time, load, 10.0)
        for mine, theirs in (
            (hung, one["hung"]),
            (empty_before(time, load, 10.0, hung.start_s), one["empty"]),
        ):
            assert theirs["start"] == pytest.approx(mine.start_s)
            assert theirs["end"] == pytest.approx(mine.end_s)
            assert theirs["swing"] == pytest.approx(mine.swing_n, rel=1e-6)
            assert theirs["mean"] == pytest.approx(mine.mean_n, rel=1e-9)
            assert theirs["standard"] == pytest.approx(mine.standard_n, rel=1e-6)


def test_the_page_alone_claims_no_interval() -> None:
    """About so much, by standard gravity; the computer gives the interval."""
    time, load = swinging(3)
    told = in_node("page.weighedAlone(given[0], given[1], 'kgf')", [time.tolist(), (load * 9.80665).tolist()])

    hung = hanging(time, load, 10.0)
    mass = hung.mean_n - empty_before(time, load, 10.0, hung.start_s).mean_n
    number, unit = told["peak"].removeprefix("about ").split()
    assert float(number) == pytest.approx(mass, rel=0.01)
    assert unit == "kg"
    assert "(" not in told["peak"]
    assert "breakyard weigh" in " ".join(told["lines"])


@pytest.mark.parametrize(
    ("seconds", "said"),
    [([0.0, 8.0], "longer than that"), ([20.0, 44.0], "hook and slings hang alone")],
    ids=["too short", "nothing before it"],
)
def test_what_is_missing_is_said(seconds: list[float], said: str) -> None:
    """A sentence in place of a number."""
    time, load = swinging(4)
    part = (time >= seconds[0]) & (time < seconds[1])
    told = in_node("page.weighedAlone(given[0], given[1], 'lbf')", [time[part].tolist(), load[part].tolist()])

    assert told["peak"] == ""
    assert said in told["lines"][0]


def test_the_computers_weighing_in_pounds() -> None:
    """As many places as the interval supports; what was taken off, and by which gravity."""
    weighed = {
        "mass_kg": 180.0, "low_kg": 179.1, "high_kg": 180.9, "tare_kg": 4.0, "seconds": 10, "coverage": 0.95,
        "gravity": "gravity 9.8146 m/s2, from latitude 54.3",
    }  # fmt: skip
    told = in_node("page.weighedWords(given, 'lbf')", {"weighed": weighed})

    assert told["peak"] == "396.8 lb (394.8 to 398.8)"
    assert "8.8 lb" in told["lines"][1]
    assert told["lines"][2].startswith("Gravity 9.8146")
