"""The calibration and the step response in force: what is named, else what the session (or those beside it) keeps."""

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from breakyard.calibration import Calibration
from breakyard.converter import StepResponse
from breakyard.document import sha256_of
from breakyard.errors import CalibrationError, DataError, UsageError
from breakyard.session.files import responses
from breakyard.session.files.calibrations import read_calibration

if TYPE_CHECKING:
    from breakyard.run import Run
    from breakyard.session.pulls import Pull
    from breakyard.session.session import Session

ASSUMED: Final = "assumed"
"""Said instead of a response's file: leave measured ones aside."""


def load_calibration(
    stated: "Path | Calibration | None", session: "Session | None", what: str
) -> Calibration:
    """The calibration in force: the one stated (a file, or a name in the session), else the session's own.

    Args:
        what: the recording that needs it, for the message.

    Raises: UsageError when none is stated and none is to be found; CalibrationError for a file that is none.
    """
    if isinstance(stated, Calibration):
        return stated
    if stated is not None and (stated.exists() or session is None):
        path = stated
    elif session is not None:
        path = session.calibration_file(stated.stem if stated is not None else None)
    else:
        raise UsageError(
            f"{what}: counts need a calibration: give one with --calibration, or make one with: breakyard calibrate"
        )
    return read_calibration_file(path)


def read_calibration_file(path: Path) -> Calibration:
    """Read a calibration file. Raises: CalibrationError, DataError, both with the file's name."""
    text = read_calibration(path)
    try:
        return _parsed(text)
    except (CalibrationError, DataError) as error:
        raise CalibrationError(f"{path}: {error}") from None


@lru_cache(maxsize=8)
def _parsed(text: str) -> Calibration:
    """Most pulls of a session share one calibration; its hash is checked whenever the text is another."""
    return Calibration.from_json(text)


def load_response(
    pull: "Pull", run: "Run | None", stated: "str | Path | StepResponse | None"
) -> StepResponse | None:
    """The step response to read a pull with: the one stated, else what is kept of its logger; None for neither.

    Raises: DataError (file), UsageError (a response that is not sure).
    """
    if stated == ASSUMED or run is None:
        return None
    if isinstance(stated, StepResponse):
        return stated
    if stated is not None:
        return responses.read_response(Path(stated))
    if run.identity is None:
        return None
    return responses.find_response(_home(pull), run.identity.serial.hex())


def hashes_of_responses(pull: "Pull", stated: "str | Path | StepResponse | None") -> list[str]:
    """Hashes of every response that `load_response` might choose. Raises: OSError."""
    if stated == ASSUMED:
        return []
    if isinstance(stated, StepResponse):
        return [stated.content_hash]
    if stated is not None:
        return [sha256_of(Path(stated).read_bytes())]
    if pull.path.suffix.lower() != ".run":
        return []  # a recording without a logger's serial number has no response of its own
    return sorted(sha256_of(path.read_bytes()) for path in responses.visible_responses(_home(pull)))


def _home(pull: "Pull") -> Path:
    return pull.path.parent if pull.session is None else pull.session.root
