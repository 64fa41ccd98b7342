"""Arguments of commands and results of answers, by name."""

from breakyard.wire.fields import Value, read_fields, write_fields
from breakyard.wire.layout import ARGUMENTS, RESULTS, Command


def pack_arguments(command: Command, **values: Value) -> bytes:
    """Return the bytes of a command's arguments, as in pack_arguments(Command.LIST, first=1).

    Raises: UsageError for a missing, unknown or impossible argument.
    """
    return write_fields(ARGUMENTS[command], values)


def unpack_arguments(command: Command, arguments: bytes, *, version: int = 1) -> dict[str, Value]:
    """Read a command's arguments. Raises: DamagedRecord (BAD_LENGTH, BAD_VALUE)."""
    return read_fields(ARGUMENTS[command], arguments, extra_allowed=version > 1)


def pack_results(command: Command, **values: Value) -> bytes:
    """Return the bytes of an answer's results. Raises: UsageError."""
    return write_fields(RESULTS[command], values)


def unpack_results(command: Command, results: bytes, *, version: int = 1) -> dict[str, Value]:
    """Read the results of an answer whose error is OK; the names are those of the protocol's table.

    Raises: DamagedRecord (BAD_LENGTH, BAD_VALUE).
    """
    return read_fields(RESULTS[command], results, extra_allowed=version > 1)
