"""Every fuzz target on its seeds, on what fuzzing found before, on some thousands of random inputs.

The long run, guided by coverage, is fuzz.py.
"""

import gc
import json
import random
import sys
import tracemalloc
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import pytest

HERE = Path(__file__).parent
if str(HERE) not in sys.path:
    sys.path.append(str(HERE))

from fuzz_mutate import mutated  # noqa: E402
from fuzz_targets import SHARES  # noqa: E402

INPUTS = 8000
"""Over all targets; the slow ones get at least LEAST."""
LEAST = 60
GROWTH_BYTES = 200_000

REGRESSIONS = json.loads((HERE / "regressions.json").read_text("utf-8"))


def target(name):
    if name == "parquet" and find_spec("pyarrow") is None:
        pytest.skip("pyarrow is not installed: pip install 'breakyard[parquet]'")
    return import_module(f"fuzz_targets.{name}")


def found_input(case):
    """The bytes of a regression: hex, or a text of which a piece may be repeated."""
    if "hex" in case:
        return bytes.fromhex(case["hex"])
    piece, times = case.get("repeat", ("", 0))
    return (case["text"] + piece * times + case.get("end", "")).encode()


@pytest.mark.parametrize("name", SHARES)
def test_seeds_and_random_changes_of_them(name):
    """What the target's docstring claims, for its seeds and for random changes of them."""
    module = target(name)
    seeds = module.seeds()
    assert seeds
    for data in seeds:
        module.try_one(data)
    draw = random.Random(name)
    for _ in range(max(LEAST, INPUTS * SHARES[name] // sum(SHARES.values()))):
        module.try_one(mutated(draw, seeds, module.MAX_LEN))


@pytest.mark.parametrize("case", REGRESSIONS, ids=lambda case: f"{case['target']}: {case['what'][:50]}")
def test_what_was_found_before(case):
    """It does not come again."""
    target(case["target"]).try_one(found_input(case))


def _held():
    gc.collect()
    return tracemalloc.get_traced_memory()[0]


@pytest.mark.parametrize("name", [name for name in SHARES if name not in ("hostile_logger", "parquet")])
def test_nothing_grows_with_the_number_of_inputs(name):
    """After as many inputs again, Python holds no more memory than before."""
    module = target(name)
    seeds = module.seeds()
    draw = random.Random(name)
    inputs = [mutated(draw, seeds, module.MAX_LEN) for _ in range(40)]
    for data in inputs:
        module.try_one(data)
    tracemalloc.start()
    try:
        for data in inputs:
            module.try_one(data)
        before = _held()
        for _ in range(3):
            for data in inputs:
                module.try_one(data)
        grown = _held() - before
    finally:
        tracemalloc.stop()
    assert grown < GROWTH_BYTES
