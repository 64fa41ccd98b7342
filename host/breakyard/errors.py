"""The errors that Breakyard raises on purpose; anything else that escapes is a bug.

    BreakyardError
        DataError(ValueError)           bytes, files or recordings that cannot be used
            DamagedRecord               one record; carries the reason and the place
            NoPull                      the recording holds nothing that can be read as a pull
        CalibrationError(ValueError)    the known loads cannot carry a calibration
        UnitError(ValueError)           an unknown unit, or a mass where a force belongs
        UsageError(ValueError)          options that do not fit together
        LinkError(OSError)              the way to the logger
            LinkLost                    it broke
            LinkTimeout(TimeoutError)   no answer in time
            Refused                     the logger answered with an error

Each message is one line that says what is wrong, where, and what to do about it.
"""


class BreakyardError(Exception):
    """Root of everything that Breakyard raises on purpose."""


class DataError(BreakyardError, ValueError):
    """Bytes, files or recordings that cannot be used."""


class NoPull(DataError):
    """The recording holds nothing that can be read as a pull."""


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


class LinkTimeout(LinkError, TimeoutError):
    """The logger did not answer in time."""
