"""Breakyard: what load a part really carried, with an interval.

The stages, each a pure function over frozen data (import them from their modules, so that only what is used is
loaded):

    breakyard.run.read_run                 bytes of a run file -> Run (counts, times, gaps, loss)
    breakyard.calibration.calibrate        known loads -> Calibration
    breakyard.curve.curve_from_run         Run and Calibration -> LoadCurve (newtons)
    breakyard.pull.summarize.summarize            LoadCurve -> Summary (peak with its interval, break, flags, budget)
"""

from breakyard.errors import BreakyardError

__all__ = ["BreakyardError", "__version__"]

__version__ = "0.1.0"
