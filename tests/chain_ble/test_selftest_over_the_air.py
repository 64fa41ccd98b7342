"""breakyard logger selftest over the virtual radio: what may be asked without the key, and what with it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from breakyard.device.selftest import Procedure, Verdict, run

KEY = bytes(range(7, 39))


@pytest.fixture
def cell(tmp_path: Path) -> Path:
    """Three minutes of a cell at rest at 92 samples a second, with the data sheet's noise. Invented data."""
    number = 180 * 92
    table = np.empty(number, dtype=[("us", "<u4"), ("counts", "<i4")])
    table["us"] = (np.arange(1, number + 1) * (1e6 / 92)).astype(np.uint32)
    table["counts"] = np.rint(np.random.default_rng(2).normal(20_000.0, 59.0, number))
    path = tmp_path / "cell.feed"
    table.tofile(path)
    return path


@pytest.mark.parametrize("key", [KEY, None], ids=["with the key", "without"])
def test_by_radio(chain: Callable[..., None], cell: Path, tmp_path: Path, key: bytes | None) -> None:
    """The link carries the stream several times; flash and rate want the key and are left out without it."""
    (tmp_path / "runs").mkdir()
    found: dict[str, Any] = {}

    def near(made: Any, said: str) -> None:
        # Otherwise device time runs ahead of this computer, whose slowness the link would be blamed for.
        made.air.rest_s = 0.03 if "link" in said else 0.0

    async def story(made: Any) -> None:
        await made.logger.load(cell)
        async with made.client(key) as client:
            await client.hello()
            procedure = Procedure(
                pause=made.device_time,
                now=lambda: made.logger.now_ms / 1000,
                tell=lambda said: near(made, said),
            )
            report = await run(client, procedure)
            found.update({one.name: one for one in report.checks})

    chain(story, options=("--runs", str(tmp_path / "runs"), "--rate-pin", "1"))
    failed = {name: one.found for name, one in found.items() if one.verdict == Verdict.FAILED}

    assert failed == {}
    assert found["link"].numbers["bytes_per_s"] > 2250
    expected = Verdict.PASSED if key else Verdict.LEFT_OUT
    assert found["store"].verdict == expected
    assert found["noise, slow rate"].verdict == expected
    if not key:
        assert "needs the key" in found["store"].found
