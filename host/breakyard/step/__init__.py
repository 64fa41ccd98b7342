"""How a logger's converter answers a sudden step, measured by cutting a hung mass loose."""

from breakyard.step.cuts import Cut, find_cuts
from breakyard.step.measure import measure
from breakyard.step.result import SCHEMA, StepResponse, StepSource

__all__ = ["SCHEMA", "Cut", "StepResponse", "StepSource", "find_cuts", "measure"]
