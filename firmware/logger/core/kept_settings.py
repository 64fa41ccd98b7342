"""Settings changed by SET, kept over restarts in a file beside the runs.

Law:
  * What was answered is safe: `keep` writes a new file and puts it in place of the old one before it returns.
  * Who spoke last is right. Each value is kept together with what settings.txt said at the time. If settings.txt
    says something else now, somebody has edited it since, and the kept value is dropped.
  * A file that is damaged, or says what is not allowed, is named in `complaints`; the logger starts with the rest.
  * Flash is written only when a value changes, and never while a run is awaited or recorded (SET is refused then).

The file: u8 form, u8 number of settings, for each u8 setting, u32 value, u32 what settings.txt said; u32 CRC-32.
"""

from binascii import crc32
from struct import pack_into, unpack_from

from micropython import const

from .settings import Settings

FILE = "settings"

_FORM = const(1)
_ENTRY = const(9)
_LONGEST = const(256)


class KeptSettings:
    """`files` is where the runs are; None: nothing is kept, as on a board without flash."""

    def __init__(self, files) -> None:  # type: ignore[no-untyped-def]
        self.complaints: list[str] = []
        self._files = files
        self._file_values: tuple[int, ...] = ()
        self._kept: dict[int, tuple[int, int]] = {}  # by setting: value, what settings.txt said then

    def take(self, settings: Settings) -> None:
        """Put what was kept into `settings`, which hold what settings.txt says."""
        self._file_values = settings.values()
        if not self._files:
            return
        for setting, value, said in self._read():
            if not 1 <= setting <= len(self._file_values):
                self.complaints.append(f"kept settings: there is no number {setting}")
            elif said != self._file_values[setting - 1]:
                self.complaints.append(f"settings.txt changed: SET of number {setting} is over")
            elif not settings.change(setting, value):
                self.complaints.append(f"kept settings: number {setting} is out of range")
            else:
                self._kept[setting] = (value, said)

    def keep(self, setting: int, value: int) -> bool:
        """Keep a value that may be one; False when it cannot be kept, and then all is as it was."""
        if not self._files:
            return True
        before = self._kept.get(setting)
        said = self._file_values[setting - 1]
        if value == (before[0] if before else said):
            return True
        after = dict(self._kept)
        if value == said:
            after.pop(setting)
        else:
            after[setting] = (value, said)
        try:
            self._files.replace(FILE, self._packed(after))
        except OSError:
            return False
        self._kept = after
        return True

    def _packed(self, kept: dict[int, tuple[int, int]]) -> bytes:
        end = 2 + _ENTRY * len(kept)
        data = bytearray(end + 4)
        data[0] = _FORM
        data[1] = len(kept)
        at = 2
        for setting in sorted(kept):
            value, said = kept[setting]
            pack_into("<BII", data, at, setting, value, said)
            at += _ENTRY
        pack_into("<I", data, end, crc32(memoryview(data)[:end]))
        return bytes(data)

    def _read(self) -> list[tuple[int, int, int]]:
        buffer = bytearray(_LONGEST)
        try:
            count = self._files.read(FILE, 0, memoryview(buffer))
        except OSError:
            return []  # nothing was ever set
        end = count - 4
        if (
            end < 2
            or buffer[0] != _FORM
            or end != 2 + _ENTRY * buffer[1]
            or unpack_from("<I", buffer, end)[0] != crc32(memoryview(buffer)[:end])
        ):
            self.complaints.append("kept settings are damaged: settings.txt holds")
            return []
        return [unpack_from("<BII", buffer, at) for at in range(2, end, _ENTRY)]
