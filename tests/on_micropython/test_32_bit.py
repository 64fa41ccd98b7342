"""The path of a sample under a 32-bit interpreter, where numbers of 2**30 and more are objects, as on a board.

Needs node and the npm package @micropython/micropython-webassembly-pyscript, in node_modules of the checkout
or where BREAKYARD_NODE_MODULES says; skipped without.
"""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
PACKAGE = "@micropython/micropython-webassembly-pyscript"


@pytest.fixture(scope="session")
def interpret_32_bit():
    """Run a program of the checkout; returns what it printed."""
    node = shutil.which("node")
    folder = Path(os.environ.get("BREAKYARD_NODE_MODULES", ROOT / "node_modules")) / PACKAGE
    if node is None or not folder.exists():
        pytest.skip(f"no node, or no {PACKAGE} (npm install {PACKAGE})")

    def run(program, *folders):
        words = [
            node,
            "tests/on_micropython/run_32_bit.mjs",
            folder,
            program,
            *(str(ROOT / one) for one in folders),
        ]
        return subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False)

    return run


def test_integers_of_31_bits_are_objects_here(interpret_32_bit, tmp_path):
    """The interpreter is what it is taken for: the same sum allocates above 2**30 and not below."""
    program = tmp_path / "small.py"
    program.write_text(
        "import micropython, sys\n"
        "a = 0x3FFFFFF0\n"
        "def below(): return a + 1\n"
        "def above(): return a + 100\n"
        "for f in (below, above):\n"
        "    micropython.heap_lock()\n"
        "    try:\n"
        "        f()\n"
        "        good = True\n"
        "    except MemoryError:\n"
        "        good = False\n"
        "    micropython.heap_unlock()\n"
        "    print(good)\n"
    )
    done = interpret_32_bit(program)

    assert done.stdout.split() == ["True", "False"], done.stdout + done.stderr


def test_no_allocation_in_the_drivers_with_31_bit_numbers(interpret_32_bit):
    """PIO with its ring, also after it was overwritten, and SPI; the microsecond counter wraps meanwhile."""
    done = interpret_32_bit("tests/on_micropython/no_alloc_drivers.py", "firmware", "firmware/virtual")

    print(done.stdout)
    assert "status: 0" in done.stdout, done.stdout + done.stderr
    assert done.stdout.count("ok  ") == 4


def test_no_allocation_per_sample_with_31_bit_numbers(interpret_32_bit):
    """From the pins to the record being filled, with the heap locked."""
    done = interpret_32_bit("tests/on_micropython/no_alloc_sample_path.py", "firmware")

    print(done.stdout)
    assert "failed: 0" in done.stdout, done.stdout + done.stderr
    assert done.stdout.count("ok  ") == 8
