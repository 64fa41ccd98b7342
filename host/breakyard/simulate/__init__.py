"""Simulated pulls, cell and converter, for the demo and the tests: physics in, counts and truth out.

The analysis never imports this package and this package never imports the analysis: otherwise they would
agree with each other and prove nothing. Everything here is invented; nothing was measured.
"""
