"""How pulls are read: what a person states about a recording that it does not tell itself."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from breakyard.calibration import Calibration
    from breakyard.converter import StepResponse


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """The same for all pulls that are read together."""

    calibration: "Path | Calibration | None" = None
    """A file, its name in the session, or the calibration itself; None: the session's own."""
    accuracy_percent: float | None = None
    """Standard uncertainty of another instrument, in percent of the load; None: as its notes state it."""
    coverage: float = 0.95
    misalignment_deg: float | None = None
    """None: nobody vouches for one, and the wide default is taken."""
    temperature_c: float | None = None
    response: "str | Path | StepResponse | None" = None
    """Step response to read with: a file, "assumed", or the response itself; None: what is kept of the logger."""
    pull_speed_m_per_s: float | None = None
    one_specimen: bool = False
    """All pulls in a recording are of one specimen; False: as its notes say."""
