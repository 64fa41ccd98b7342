"""The pictures: a pull, its break in detail, a session in one picture, a calibration and its recording."""

from breakyard.report.calibration_figure import calibration_figure
from breakyard.report.overlay_figure import Align, Pull, overlay_figure
from breakyard.report.plateau_figure import plateau_figure
from breakyard.report.pull_figure import break_figure, describe_pull, pull_figure
from breakyard.report.style import Mode, Picture, Shape

__all__ = [
    "Align",
    "Mode",
    "Picture",
    "Pull",
    "Shape",
    "break_figure",
    "calibration_figure",
    "describe_pull",
    "overlay_figure",
    "plateau_figure",
    "pull_figure",
]
