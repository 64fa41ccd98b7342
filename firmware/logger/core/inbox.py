"""Bytes from a link to whole command records: cuts at zero bytes, undoes the stuffing, checks the CRC.

Damaged records are dropped and counted. Any packet size will do. Delimiters alone are a knock: a host that does not
know what is at the other end of a cable sends nothing else, as byte 3 would be Ctrl-C to a board without this program.
"""

from micropython import const

from . import cobs, record
from .layout import DAMAGE_BAD_STUFFING, DAMAGE_TOO_LONG, MAX_RECORD

_ROOM = MAX_RECORD + 1
_KNOCK_DELIMITERS = const(8)  # in a row; between two records there are two


class Inbox:
    """Feed it byte by byte; `record` holds a good record after `feed` returned its length."""

    def __init__(self) -> None:
        self.record = bytearray(_ROOM)
        self.bad_records = 0
        self.last_damage = 0
        self.knocked = False  # whoever sees to it clears this
        self._delimiters = 0
        self._used = 0
        self._too_long = False

    def feed(self, byte: int) -> int:
        """Take one byte; return the length of a good record that it completed, else 0."""
        if byte:
            self._delimiters = 0
            if self._used < _ROOM:
                self.record[self._used] = byte
                self._used += 1
            else:
                self._too_long = True
            return 0
        used = self._used
        self._used = 0
        if self._too_long:
            self._too_long = False
            return self._drop(DAMAGE_TOO_LONG)
        if used == 0:
            self._delimiters += 1
            if self._delimiters == _KNOCK_DELIMITERS:
                self._delimiters = 0
                self.knocked = True
            return 0
        length = cobs.unstuff(self.record, used)
        if length < 0:
            return self._drop(DAMAGE_BAD_STUFFING)
        damage = record.damage(self.record, length)
        if damage:
            return self._drop(damage)
        return length

    def clear(self) -> None:
        """Forget a record half received; the link was lost."""
        self._used = 0
        self._too_long = False
        self._delimiters = 0

    def _drop(self, damage: int) -> int:
        self.last_damage = damage
        self.bad_records += 1
        return 0
