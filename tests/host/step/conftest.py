"""Simulated cases for the analysis: the truth comes from `breakyard.simulate`, which shares no code with it."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "support"))
