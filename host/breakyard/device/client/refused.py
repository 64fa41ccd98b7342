"""The logger's no, in words."""

from breakyard.errors import Refused
from breakyard.wire.layout import Command, Error


def refused(command: Command, error: int, hint: str = "") -> Refused:
    """The error to raise for a command that the logger answered with an error."""
    try:
        name = Error(error).name
    except ValueError:
        name = f"error {error}"
    return Refused(
        f"the logger refused {command.name}: {name}{hint or _hint(command, error)}", command, error
    )


def _hint(command: Command, error: int) -> str:
    """What to do about it, where that is plain."""
    if error == Error.NOT_ALLOWED:
        if command == Command.SET_KEY:
            return ", as a key is set over the cable only"
        return ", as this computer has no key for it; set one over the cable with: breakyard logger key"
    if error == Error.TOO_SOON:
        return ", because someone gave it a wrong key; try again in a few seconds"
    if error == Error.BAD_STATE and command in (Command.SET, Command.STORE_CALIBRATION):
        return ", as it is armed or records"
    return ""
