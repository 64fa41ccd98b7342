"""Loads compared by factors (material, orientation), with days and conditions taken out. See `compare_factors`."""

from breakyard.comparison.factors.compare import compare_factors
from breakyard.comparison.factors.results import FactorComparison
from breakyard.comparison.factors.terms import PulledSpecimen

__all__ = ["FactorComparison", "PulledSpecimen", "compare_factors"]
