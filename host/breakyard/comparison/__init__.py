"""Groups of specimens compared honestly: few of them, some only "at least", one instrument for all.

Pure stages over `breakyard.pull.results.Summary` values; see `compare` and `observe`.
"""

from breakyard.comparison.compare import compare
from breakyard.comparison.observations import QUANTITIES, Observation, Quantity, observe
from breakyard.comparison.results import Compared, Comparison

__all__ = ["QUANTITIES", "Compared", "Comparison", "Observation", "Quantity", "compare", "observe"]
