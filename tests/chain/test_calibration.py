"""A calibration run through the whole chain: masses hung, firmware, link, file, `breakyard calibrate`, truth."""

import asyncio
import importlib
import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from breakyard.calibration import Calibration
from breakyard.device.client.client import Client
from breakyard.run import read_run
from breakyard.simulate.logger import VirtualLogger

SEEDS = (0, 1, 2)
TIMEOUT_S = 60.0


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The benchmark of many seeds, of which a few are run here."""
    monkeypatch.syspath_prepend(str(Path(__file__).parent.parent / "bench"))
    return importlib.import_module("calibration_through_logger")


def test_masses_hung_on_the_virtual_logger_give_a_calibration_that_holds_the_truth(
    bench: ModuleType, tmp_path: Path
) -> None:
    """0, 20, 40, 60, 40, 20, 0 kg, swinging in between: no mistake is found, and 60 kgf and 1200 kgf lie within the
    interval for each of these seeds. How often they do is the benchmark's question."""
    cases = [bench.make_case(seed) for seed in SEEDS]

    async def record() -> list[Path]:
        # A: the host starts, the masses are hung, the host stops and fetches.  B: the logger samples.
        kept = []
        async with (
            VirtualLogger() as logger,
            Client(logger.link(), first_index=1, answer_timeout_s=TIMEOUT_S) as client,
        ):
            for seed, case in zip(SEEDS, cases, strict=True):
                path = await bench.recorded(logger, client, case, tmp_path)
                kept.append(path.rename(tmp_path / f"seed{seed}.run"))
        return kept

    for path, case in zip(asyncio.run(record()), cases, strict=True):
        assert read_run(path.read_bytes()).loss.complete
        words = ["calibrate", str(path), "--masses", case.stated, "--latitude", "54", "--height", "20"]
        plate = [
            "--capacity",
            "2000 kgf",
            "--rated-output",
            "2",
            "--nonlinearity",
            "0.03",
            "--hysteresis",
            "0.02",
        ]
        command = [sys.executable, "-m", "breakyard", *words, *plate, "--json"]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        document = json.loads(done.stdout)

        assert document["findings"] == []
        assert document["fit"]["degree"] == 1
        assert len(document["points"]) == 7
        made = Calibration.from_json(document)
        for error, half in case.judge(made):
            assert abs(error) <= half
