"""How a logger's converter answers a sudden step, measured by cutting a hung mass loose."""

from breakyard.converter.cuts import Cut, find_cuts
from breakyard.converter.measure import measure
from breakyard.converter.step import StepResponse, StepSource

__all__ = ["Cut", "StepResponse", "StepSource", "find_cuts", "measure"]
