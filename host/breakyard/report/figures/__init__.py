"""The pictures: a pull, its break in detail, a session in one picture, a calibration and its recording."""

from breakyard.report.figures.calibration_figure import calibration_figure
from breakyard.report.figures.card_figure import comparison_card, pull_card
from breakyard.report.figures.extension_figure import extension_figure
from breakyard.report.figures.overlay_figure import overlay_figure
from breakyard.report.figures.plateau_figure import plateau_figure
from breakyard.report.figures.pull_figure import break_figure, describe_pull, pull_figure
from breakyard.report.figures.style import FigurePicture, Form, Mode
from breakyard.report.overlay import Align, DrawnPull

__all__ = [
    "Align",
    "DrawnPull",
    "FigurePicture",
    "Form",
    "Mode",
    "break_figure",
    "calibration_figure",
    "comparison_card",
    "describe_pull",
    "extension_figure",
    "overlay_figure",
    "plateau_figure",
    "pull_card",
    "pull_figure",
]
