"""Puts files onto a board's flash without the board: micropython fill.py FLASH FOLDER NAME ...; run by board.py."""

import sys

from flash_chip import littlefs

_flash, _folder = sys.argv[1:3]
files = littlefs(_flash)
for name in sys.argv[3:]:
    folder = ""
    for part in name.split("/")[:-1]:
        folder += "/" + part
        try:  # noqa: SIM105 - MicroPython has no contextlib
            files.mkdir(folder)
        except OSError:
            pass  # it is there
    with open(_folder + "/" + name, "rb") as source, files.open("/" + name, "wb") as target:
        while piece := source.read(4096):
            target.write(piece)
