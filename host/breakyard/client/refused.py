"""The logger's no."""

from breakyard.errors import LinkError
from breakyard.wire.layout import Command, Error


class Refused(LinkError):
    """The logger answered a command with an error."""

    def __init__(self, command: Command, error: int, hint: str = "") -> None:
        try:
            name = Error(error).name
        except ValueError:
            name = f"error {error}"
        super().__init__(f"the logger refused {command.name}: {name}{hint}")
        self.command = command
        self.error = error
