"""Who is speaking: the logger, its boot, its software."""

from .layout import VERSION
from .record import text_bytes

FIRMWARE = "breakyard-logger 0.1.0"


class Identity:
    """`serial` has 8 bytes and is fixed for the board; `boot` differs at every start."""

    def __init__(self, serial: bytes, boot: int, board: str, interpreter: str) -> None:
        self.name = b""  # what its owner calls it
        self.serial = serial
        self.boot = boot
        self.board = text_bytes(board)
        self.interpreter = text_bytes(interpreter)

    def values(self, hidden: bool = False) -> tuple[bytes, int, int, bytes, bytes, bytes]:
        """The fields of an IDENTITY record; `hidden`: for a stranger who is not told the serial number."""
        serial = bytes(8) if hidden else self.serial
        return (serial, self.boot, VERSION, self.board, text_bytes(FIRMWARE), self.interpreter)


class ClockAnchor:
    """At this device time it was this UTC; given by the host, written into the runs that follow."""

    def __init__(self, uncertainty_us: int) -> None:
        self.device_s = 0
        self.device_us = 0
        self.utc_s = 0
        self.utc_us = 0
        self.uncertainty_us = uncertainty_us
