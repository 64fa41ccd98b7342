"""The self-test of a logger: what is measured over a client, and what passes; nothing here knows screens."""

from breakyard.device.selftest.measure import Procedure, run
from breakyard.device.selftest.results import Check, Report, Verdict

__all__ = ["Check", "Procedure", "Report", "Verdict", "run"]
