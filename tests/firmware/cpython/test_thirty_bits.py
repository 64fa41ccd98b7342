"""No number on the path of a sample leaves 30 bits: a board keeps larger ones on the heap.

The files are compiled anew with every arithmetic result passed through a check. Outside stand only functions
that do not run per sample (listed), and CRC-32, which a record needs once and which is no arithmetic here.
"""

import ast
import sys
import types
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

LOGGER = Path(__file__).parent.parent.parent.parent / "firmware" / "logger"
HIGHEST = (1 << 30) - 1
LOWEST = -(1 << 30)
NOT_PER_SAMPLE = {"rate_mhz", "seconds_left"}  # once per status or run


class TooLarge(AssertionError):
    pass


def checked(value, place):
    if isinstance(value, int) and not LOWEST <= value <= HIGHEST:
        raise TooLarge(f"{value} at {place}")
    return value


class Instrument(ast.NodeTransformer):
    """`a + b` becomes `checked(a + b, place)`; `a += b` becomes `a = checked(a + b, place)`."""

    def __init__(self, name):
        self.name = name

    def visit_FunctionDef(self, node):
        return node if node.name in NOT_PER_SAMPLE else self.generic_visit(node)

    def _wrap(self, node, line):
        place = ast.Constant(f"{self.name}:{line}")
        return ast.Call(ast.Name("__checked__", ast.Load()), [node, place], [])

    def visit_BinOp(self, node):
        self.generic_visit(node)
        return self._wrap(node, node.lineno)

    def visit_UnaryOp(self, node):
        self.generic_visit(node)
        return self._wrap(node, node.lineno) if isinstance(node.op, ast.USub) else node

    def visit_AugAssign(self, node):
        self.generic_visit(node)
        target = ast.parse(ast.unparse(node.target), mode="eval").body
        return ast.Assign([node.target], self._wrap(ast.BinOp(target, node.op, node.value), node.lineno))


@pytest.fixture(scope="module")
def logger():
    """The package `logger`, instrumented, under another name."""
    for name in ("checked_logger", "checked_logger.core"):
        package = types.ModuleType(name)
        package.__path__ = []
        sys.modules[name] = package
    result = types.SimpleNamespace()
    order = (
        "layout",
        "cobs",
        "record",
        "timebase",
        "ring",
        "settings_file",
        "settings",
        "health",
        "identity",
        "trigger",
        "peaks",
        "store",
    )
    order += ("totals", "window", "faults", "sample_record", "run_writer", "recorder")
    for short in order:
        source = (LOGGER / "core" / f"{short}.py").read_text("utf-8")
        tree = ast.parse(source)
        if short != "layout":  # numbers of the table; CLOCK_NEVER_SET is copied once per run
            tree = Instrument(short).visit(tree)
        module = types.ModuleType(f"checked_logger.core.{short}")
        module.__package__ = "checked_logger.core"
        module.__checked__ = checked
        sys.modules[module.__name__] = module
        setattr(sys.modules["checked_logger.core"], short, module)
        exec(compile(ast.fix_missing_locations(tree), short, "exec"), module.__dict__)
        setattr(result, short, module)
    yield result
    for name in [name for name in sys.modules if name.startswith("checked_logger")]:
        del sys.modules[name]


counts = st.one_of(
    st.integers(-8388608, 8388607), st.sampled_from([-8388608, 8388607, 0]), st.integers(-1000, 1000)
)
steps = st.one_of(st.integers(5000, 14000), st.integers(5000, 200000), st.integers(5000, (1 << 29) - 1))
samples = st.lists(
    st.tuples(counts, steps, st.integers(0, 4), st.integers(0, 300)), min_size=20, max_size=300
)


@given(samples, st.integers(0, HIGHEST), st.booleans(), st.integers(0, 1 << 29))
def test_every_result_stays_within_30_bits(logger, conversions, start, by_command, late_s):
    """Whatever the counts, the steps, the counter and the device time (17 years of it)."""
    timebase = logger.timebase.Timebase(start)
    timebase._anchor_second = late_s
    settings = logger.settings.Settings()
    settings.change(4, 600000)
    identity = logger.identity.Identity(bytes(8), 1, "test", "test")
    recorder = logger.recorder.Recorder(timebase, logger.store.MemoryStore(20000), identity, settings)
    watch = recorder.faults
    watch._sound_s = watch._last_s = watch._tried_s = watch._watched_s = late_s
    ticks = start
    for i in range(30):
        ticks = (ticks + 11000) & HIGHEST
        recorder.push(i, ticks, 0, 0)
    assert (recorder.start(ticks) if by_command else recorder.arm()) == 0
    for value, step, quality, missed in conversions:
        ticks = (ticks + step) & HIGHEST
        recorder.push(value, ticks, quality, missed)
        recorder.service(ticks)
    recorder.stop(ticks)
    for _ in range(500):
        recorder.service(ticks)
    assert not recorder.writer.active


def test_the_check_is_felt(logger):
    """A result of 31 bits is found, in a plain sum and in a sum in place."""
    ring = logger.ring.Ring(64)
    ring.head = HIGHEST
    with pytest.raises(TooLarge, match="ring"):
        ring.push(0, 0, 0, 0, 0)
    with pytest.raises(TooLarge, match="timebase"):
        logger.timebase.elapsed_ms(1 << 21, 0, 0, 0)
    totals = logger.totals.Totals()
    totals.missed = HIGHEST
    with pytest.raises(TooLarge, match="totals"):
        totals.add(0, 0, 1)
