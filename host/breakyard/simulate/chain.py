"""From a pull to conversions: load -> cell -> converter."""

from breakyard.simulate.cell import Cell
from breakyard.simulate.converter import NO_FAULTS, Conversions, Converter, Faults, convert
from breakyard.simulate.pull import PullTruth


def measure(
    truth: PullTruth, cell: Cell, converter: Converter, *, seed: int, faults: Faults = NO_FAULTS
) -> Conversions:
    """Conversions of a whole pull. The same arguments give the same bytes."""
    return convert(
        truth.time_s, cell.output_mv_v(truth.time_s, truth.force_n), converter, seed=seed, faults=faults
    )
