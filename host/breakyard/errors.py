"""The errors that Breakyard raises on purpose; anything else that escapes is a bug.

    BreakyardError
        DataError(ValueError)           bytes, files or recordings that cannot be used
            DamagedRecord               one record; carries the reason and the place
            FileHeld                    a file that another program has open
            FileBusy                    a file that another command is at work on
            NoPull                      the recording holds nothing that can be read as a pull
        CalibrationError(ValueError)    the known loads cannot carry a calibration
        UnitError(ValueError)           an unknown unit, or a mass where a force belongs
        UsageError(ValueError)          options that do not fit together
        LinkError(OSError)              the way to the logger
            LinkLost                    it broke
                LinkGone                for good
            LinkTimeout(TimeoutError)   no answer in time
            Refused                     the logger answered with an error
            WrongLogger                 it is not the logger whose key is kept here

Each message is one line that says what is wrong, where, and what to do about it.
"""

from enum import IntEnum
from typing import Any, Final

DAMAGE: Final = {
    "BAD_STUFFING": "its stuffing points past its end",
    "TOO_SHORT": "it is shorter than a header and a checksum",
    "TOO_LONG": "it is longer than a record can be",
    "BAD_CHECKSUM": "its checksum does not agree",
    "BAD_LENGTH": "its length does not fit its fields",
    "BAD_VALUE": "a field has a value that the protocol rules out",
}
"""What each kind of damage to a record means."""


class BreakyardError(Exception):
    """Root of everything that Breakyard raises on purpose."""


class DataError(BreakyardError, ValueError):
    """Bytes, files or recordings that cannot be used."""


class DamagedRecord(DataError):
    """One record cannot be used; `reason` (a `wire.layout.Damage`) says why, `detail` where in the record."""

    def __init__(self, reason: IntEnum, detail: str = "") -> None:
        tail = f" ({detail})" if detail else ""
        super().__init__(f"damaged record dropped: {DAMAGE[reason.name]}{tail}")
        self.reason: Any = reason
        self.detail = detail


class FileHeld(DataError):
    """A file cannot be replaced, most likely since another program has it open."""


class FileBusy(DataError):
    """A file that another command is at work on."""


class NoPull(DataError):
    """The recording holds nothing that can be read as a pull."""


class UnreadKey(UserWarning):
    """Somebody wrote a key, or notes, that cannot be read: no error, but never passed over in silence."""


class CalibrationError(BreakyardError, ValueError):
    """The known loads cannot carry a calibration."""


class UnitError(BreakyardError, ValueError):
    """An unknown unit, or a mass where a force belongs."""


class UsageError(BreakyardError, ValueError):
    """Options that do not fit together."""


class LinkError(BreakyardError, OSError):
    """The way to the logger failed."""


class LinkLost(LinkError):
    """The link broke; what was received before stays valid."""


class LinkGone(LinkLost):
    """The link broke for good: connecting again is in vain."""


class LinkTimeout(LinkError, TimeoutError):
    """The logger did not answer in time."""


class Refused(LinkError):
    """The logger answered a command with an error; `command` and `error` are their numbers in the protocol."""

    def __init__(self, message: str, command: int, error: int) -> None:
        super().__init__(message)
        self.command = command
        self.error = error


class WrongLogger(LinkError):
    """The logger does not have the key that its serial number promises."""
