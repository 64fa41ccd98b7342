"""The measured answer of a converter to a sudden step, beside those of the filters of order 3 and 4."""

from collections.abc import Sequence

import numpy as np

from breakyard.converter import Cut, StepResponse
from breakyard.converter.response import filtered_power
from breakyard.report.figures.style import (
    ORANGE,
    PURPLE,
    FigurePicture,
    Form,
    Legend,
    Mode,
    draw_key,
    make_look,
    new_figure,
    set_title,
)


def step_figure(
    response: StepResponse, cuts: Sequence[Cut], *, mode: Mode = "light", form: Form = "wide"
) -> FigurePicture:
    """Draw the share left over the time in conversions, around the half-way moment: samples, measured shape, order 3
    and 4.

    Raises: UsageError (mode, form).
    """
    look = make_look(mode, form)
    figure, (axes,) = new_figure(look)
    key = Legend(look)
    at = np.array(response.at) - 0.5 * response.order
    left, standard = np.array(response.left), np.array(response.standard)
    for cut in cuts:
        axes.plot(cut.at, 100 * cut.left, ".", color=look.theme.faint, markersize=5, zorder=2)
    key.line("samples of all cuts", color=look.theme.faint, marker=".", linestyle="none", markersize=6)
    fine = np.linspace(-3.5, 3.5, 281)
    for order, colour, dash in ((3, ORANGE, "--"), (4, PURPLE, ":")):
        share = 100 * (1.0 - filtered_power(fine + 0.5 * order, 0, order))
        (line,) = axes.plot(fine, share, dash, color=colour, linewidth=2.0, zorder=3)
        key.add(line, f"filter of order {order}")
    if at.size:
        marks = axes.errorbar(
            at, 100 * left, yerr=200 * standard, fmt="o", color=look.theme.curve, markersize=4, zorder=4
        )
        key.add(marks, "measured, with 2 SD")
    axes.set_xlim(-3.5, 3.5)
    axes.set_xlabel("Time from half-way [conversions]")
    axes.set_ylabel("Share left [%]")
    verdict = response.sentences[0] if response.sentences else ""
    set_title(axes, look, f"Step response, logger {response.logger}", verdict)
    draw_key(figure, key)
    alt = f"Share of a mass that the converter still shows after it was cut loose. {verdict}"
    return FigurePicture(figure, alt, look.dpi)
