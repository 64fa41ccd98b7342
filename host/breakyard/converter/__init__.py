"""How a logger's converter answers a sudden step, measured by cutting a hung mass loose."""

from breakyard.converter.cuts import Cut, find_cuts
from breakyard.converter.measure import measure
from breakyard.converter.step import SCHEMA, StepResponse, StepSource

__all__ = ["SCHEMA", "Cut", "StepResponse", "StepSource", "find_cuts", "measure"]
