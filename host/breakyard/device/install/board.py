"""A board at a serial port, by mpremote as its own process. It must show its prompt: see the board's prompt pin."""

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from breakyard.errors import LinkError, UsageError

_PATIENCE_S: Final = 180
_ASK_S: Final = 30
"""A board at its prompt answers within a second or two; a logger that runs never does."""

_ASK: Final = """
import gc, os, sys
def text(get):
    try:
        return get()
    except Exception:
        return ""
print(sys.platform)
print(text(lambda: os.uname().machine))
print(".".join([str(part) for part in sys.implementation.version[:2]]))
print(getattr(sys.implementation, "_mpy", 0) & 255)
gc.collect()
print(text(gc.mem_free))
"""

_FOLDERS: Final = """
import os
for name in {names!r}:
    try:
        os.mkdir(name)
    except OSError:
        pass
"""

_READ: Final = """
import binascii
try:
    with open({name!r}, "rb") as file:
        print("there")
        while True:
            piece = file.read(256)
            if not piece:
                break
            print(binascii.hexlify(piece).decode())
except OSError:
    print("absent")
"""

_HASHES: Final = """
import hashlib
for name in {names!r}:
    try:
        with open(name, "rb") as file:
            digest = hashlib.sha256()
            while True:
                piece = file.read(512)
                if not piece:
                    break
                digest.update(piece)
        print(name, digest.digest().hex())
    except OSError:
        print(name, "missing")
"""

_RENAME: Final = """
import os
os.rename({old!r}, {new!r})
"""

_REMOVE: Final = """
import os
kept = set({kept!r})
def clean(folder):
    for entry in os.ilistdir(folder):
        name = folder + "/" + entry[0]
        if entry[1] == 0x4000:
            clean(name)
        elif name not in kept and (name.endswith(".py") or name.endswith(".mpy")):
            os.remove(name)
            print(name)
try:
    clean("logger")
except OSError:
    pass
"""


@dataclass(frozen=True, slots=True)
class BoardInfo:
    """What the interpreter says of itself; `free` are bytes of memory, None where it does not say.

    Where the heap grows by itself, as on an ESP32, `free` holds what it can grow by at once.
    """

    platform: str
    machine: str
    version: tuple[int, int]
    mpy: int
    free: int | None = None


class Board:
    """Each call starts mpremote once. Raises: UsageError without mpremote, LinkError when the board does not answer."""

    def __init__(self, port: str) -> None:
        self.port = port

    def ask(self) -> BoardInfo:
        """Which board, which MicroPython."""
        lines = self._run("exec", _ASK, patience_s=_ASK_S).splitlines()
        if len(lines) < 4:
            raise LinkError(f"the board at {self.port} does not say what it is; {PROMPT}")
        major, minor = lines[2].split(".")
        free = lines[4].strip() if len(lines) > 4 else ""
        return BoardInfo(
            lines[0].strip(),
            lines[1].strip(),
            (int(major), int(minor)),
            int(lines[3]),
            int(free) if free.isdecimal() else None,
        )

    def copy(self, folder: Path) -> None:
        """Copy everything in a folder to the root of the board's file system, file by file over one connection."""
        paths = sorted(path.relative_to(folder) for path in folder.rglob("*"))
        folders = [path.as_posix() for path in paths if (folder / path).is_dir()]
        words = ["exec", _FOLDERS.format(names=folders)]
        for name in (path.as_posix() for path in paths if (folder / path).is_file()):
            words += ["+", "fs", "cp", name, f":{name}"]
        self._run(*words, folder=folder)

    def read_bytes(self, name: str) -> bytes | None:
        """A file of the board, or None. It comes as hex, since a port adds carriage returns to what is printed."""
        there, _, digits = self._run("exec", _READ.format(name=name)).partition("\n")
        return bytes.fromhex(digits) if there.strip() == "there" else None

    def hashes(self, names: tuple[str, ...]) -> dict[str, str]:
        """SHA-256 of files on the board, in hex; "missing" for those that are not there."""
        said = self._run("exec", _HASHES.format(names=list(names)))
        found = {}
        for line in said.splitlines():
            name, _, digest = line.strip().rpartition(" ")
            found[name] = digest
        return found

    def rename(self, old: str, new: str) -> None:
        """Give a file another name, in place of one that has it."""
        self._run("exec", _RENAME.format(old=old, new=new))

    def remove_others(self, kept: tuple[str, ...]) -> tuple[str, ...]:
        """Remove files of an earlier firmware; runs and settings are no business of this. Returns their names."""
        return tuple(self._run("exec", _REMOVE.format(kept=list(kept))).split())

    def restart(self) -> None:
        """Start the board anew."""
        self._run("reset")

    def _run(self, *words: str, folder: Path | None = None, patience_s: float = _PATIENCE_S) -> str:
        # Without `resume` mpremote restarts the interpreter first, and with it the logger.
        words_are_utf8 = {**os.environ, "PYTHONUTF8": "1"}
        command = [sys.executable, "-m", "mpremote", "connect", self.port, "resume", *words]
        try:
            done = subprocess.run(
                command, cwd=folder, capture_output=True, timeout=patience_s, check=False, env=words_are_utf8
            )
        except subprocess.TimeoutExpired as error:
            raise LinkError(f"the board at {self.port} does not answer; {PROMPT}") from error
        out, err = (
            text.decode("utf-8", "replace").replace("\r\n", "\n") for text in (done.stdout, done.stderr)
        )
        if "No module named mpremote" in err:
            raise UsageError("mpremote is missing; install it with: pip install breakyard[install]")
        if done.returncode:
            said = (err.strip() or out.strip()).splitlines()
            raise LinkError(f"the board at {self.port}: {said[-1] if said else 'no answer'}; {PROMPT}")
        return out


PROMPT: Final = (
    "connect the board's prompt pin to ground, take the power away and give it again, then try once more"
)
