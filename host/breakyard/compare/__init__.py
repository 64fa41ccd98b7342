"""Groups of specimens compared honestly: few of them, some only "at least", one instrument for all.

Pure stages over `breakyard.results.Summary` values; see `compare` and `observe`.
"""

from breakyard.compare.compare import compare
from breakyard.compare.observations import QUANTITIES, Observation, Quantity, observe
from breakyard.compare.results import SCHEMA, Compared, Comparison

__all__ = ["QUANTITIES", "SCHEMA", "Compared", "Comparison", "Observation", "Quantity", "compare", "observe"]
