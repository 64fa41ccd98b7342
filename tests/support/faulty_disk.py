"""A disk that fails at a chosen operation, and what a flat battery leaves of a folder.

Every operation that changes a folder is counted: a file made, written, forced to the disk, cut, renamed, linked,
removed, a folder made, removed, forced to the disk. At one of them something happens (`Fault`). Once the program was
killed, nothing that it does any more reaches the disk, whatever its clean-up tries; and the folder is left as it would
be found afterwards.

The power cut goes by what POSIX promises and no more: the content of a file is what was forced to the disk (fsync),
and its name is there if its folder was forced, too; in between, a disk may have kept the names and lost the contents
(`POWER_NAMES_KEPT`: files of no length) or neither (`POWER`).

Not simulated: two programs at once; writes that come out of order within one file; what C libraries write by
themselves (nothing of ours does: Parquet files go through an open file of Python's); maps of memory.
"""

import builtins
import errno
import io
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Any
from unittest import mock

Tree = dict[str, bytes | None]
"""What a folder holds: content by relative path; None for a folder."""


class Fault(Enum):
    """What happens at the chosen operation."""

    KILL = "killed before it"
    TORN = "killed in the middle of it"
    POWER = "power lost after it: only what was forced to the disk is there"
    POWER_NAMES_KEPT = "power lost after it: names are there, contents only as far as they were forced"
    EIO = "the disk fails there, once"
    ENOSPC = "the disk is full from there on"
    EROFS = "the medium takes no writing from there on"
    CTRL_C = "somebody presses Ctrl-C just then"


DEADLY = (Fault.KILL, Fault.TORN, Fault.POWER, Fault.POWER_NAMES_KEPT)
ERRNO = {Fault.EIO: errno.EIO, Fault.ENOSPC: errno.ENOSPC, Fault.EROFS: errno.EROFS}
FREES = {"unlink", "rmdir", "truncate"}
"""Operations that a full disk still allows."""


class Killed(BaseException):
    """The program is no more."""


def tree_of(root: Path) -> Tree:
    """What a folder holds."""
    found: Tree = {}
    for path in sorted(root.rglob("*")):
        found[path.relative_to(root).as_posix()] = None if path.is_dir() else path.read_bytes()
    return found


def lay_out(root: Path, tree: Tree) -> None:
    """Make a folder hold this and nothing else."""
    for path in sorted(root.rglob("*"), reverse=True):
        if path.is_dir():
            path.rmdir()
        else:
            path.unlink()
    for name, content in sorted(tree.items()):
        path = root / name
        if content is None:
            path.mkdir(exist_ok=True)
        else:
            path.write_bytes(content)


@dataclass
class Disk:
    """Watches a folder while `running`; `operations` says what was done, in words."""

    root: Path
    fault: Fault | None = None
    at: int = -1
    """Number of the operation, from 0."""
    links: bool = True
    """False: a disk without hard links (FAT)."""
    operations: list[str] = field(default_factory=list)
    dead: bool = False
    _forced: dict[int, bytes] = field(default_factory=dict)
    """Content on the disk, by the number of the file's inode."""
    _names: dict[int, dict[str, int]] = field(default_factory=dict)
    """Names on the disk, by the number of their folder's inode."""
    _folders: set[int] = field(default_factory=set)
    _held: dict[int, int] = field(default_factory=dict)
    """Open handles that keep the numbers of removed files from coming again."""

    _opened: list[io.FileIO] = field(default_factory=list)

    @contextmanager
    def running(self) -> Iterator[None]:
        """Everything that this process does to the folder meets this disk; `Killed` ends here."""
        self.root = self.root.resolve()
        self._begin()
        patches = [mock.patch.object(os, name, getattr(self, f"_{name}")) for name in _PATCHED]
        patches += [
            mock.patch.object(io, "open", self._io_open),
            mock.patch.object(builtins, "open", self._io_open),
        ]
        if not self.links:
            patches.append(mock.patch.object(os, "link", _no_link))
        try:
            for one in patches:
                one.start()
            yield
        except Killed:
            pass
        finally:
            for one in reversed(patches):
                one.stop()
            if self.dead:  # whatever somebody still holds: a process that has ended holds no file
                for raw in self._opened:
                    raw.close()
            after = self._left()
            for handle in self._held.values():
                os.close(handle)
            if after is not None:
                lay_out(self.root, after)

    def _begin(self) -> None:
        for folder, _, files in os.walk(self.root):
            self._hold(folder)
            self._force_names(folder)
            for name in files:
                path = os.path.join(folder, name)
                self._hold(path)
                self._forced[os.stat(path).st_ino] = Path(path).read_bytes()

    def _left(self) -> Tree | None:
        """What is on the disk after the power was lost; None where it never was."""
        if not self.dead or self.fault not in (Fault.POWER, Fault.POWER_NAMES_KEPT):
            return None
        if self.fault is Fault.POWER_NAMES_KEPT:
            return {
                name: None if content is None else self._forced.get((self.root / name).stat().st_ino, b"")
                for name, content in tree_of(self.root).items()
            }
        left: Tree = {}

        def descend(folder: int, inside: str) -> None:
            for name, number in self._names.get(folder, {}).items():
                if number in self._folders:
                    left[inside + name] = None
                    descend(number, f"{inside}{name}/")
                else:
                    left[inside + name] = self._forced.get(number, b"")

        descend(os.stat(self.root).st_ino, "")
        return left

    def _hold(self, path: str) -> None:
        number = os.stat(path).st_ino
        if number not in self._held:
            self._held[number] = _REAL["open"](path, os.O_RDONLY)

    def _force_names(self, folder: str) -> None:
        found = {}
        with os.scandir(folder) as entries:
            for entry in entries:
                found[entry.name] = entry.inode()
                if entry.is_dir(follow_symlinks=False):
                    self._folders.add(entry.inode())
        self._names[os.stat(folder).st_ino] = found

    # What follows stands in for the functions of os and io.

    def _inside(self, path: Any) -> str | None:
        if isinstance(path, int):
            try:
                path = os.readlink(f"/proc/self/fd/{path}")
            except OSError:
                return None
        found = os.path.join(os.path.realpath(os.path.dirname(os.path.abspath(path))), os.path.basename(path))
        found = os.fsdecode(found)
        return found if Path(found).is_relative_to(self.root) else None

    def _does(
        self, what: str, path: Any, act: Callable[[], Any], half: Callable[[], Any] = lambda: None
    ) -> Any:
        inside = self._inside(path)
        if self.dead and inside is not None:
            raise Killed
        if inside is None:
            return act()
        number = len(self.operations)
        self.operations.append(f"{what} {os.path.relpath(inside, self.root)}")
        lasting = self.fault is Fault.EROFS or (self.fault is Fault.ENOSPC and what not in FREES)
        if lasting and number >= self.at:
            assert self.fault is not None
            raise OSError(ERRNO[self.fault], os.strerror(ERRNO[self.fault]), inside)
        if number != self.at or self.fault is None:
            return act()
        if self.fault is Fault.EIO:
            raise OSError(errno.EIO, os.strerror(errno.EIO), inside)
        if self.fault is Fault.CTRL_C:
            raise KeyboardInterrupt
        if self.fault is Fault.TORN:
            half()
        elif self.fault is not Fault.KILL:
            act()
        self.dead = True
        raise Killed

    def _open(self, path: Any, flags: int, mode: int = 0o777, **more: Any) -> int:
        real = _REAL["open"]
        if not flags & (os.O_CREAT | os.O_TRUNC):
            return int(real(path, flags, mode, **more))
        there = os.path.lexists(path)
        if there and not flags & os.O_TRUNC:
            return int(real(path, flags, mode, **more))
        return int(
            self._does(
                "truncate" if there else "create", path, lambda: self._made(real(path, flags, mode, **more))
            )
        )

    def _made(self, handle: int) -> int:
        name = os.readlink(f"/proc/self/fd/{handle}")
        if Path(name).is_relative_to(self.root):
            self._hold(name)
        return handle

    def _fsync(self, handle: int) -> None:
        def act() -> None:
            place = os.readlink(f"/proc/self/fd/{handle}")
            if os.path.isdir(place):
                self._force_names(place)
                return
            number = os.fstat(handle).st_ino
            self._forced[number] = Path(f"/proc/self/fd/{handle}").read_bytes()

        self._does("fsync", handle, act)

    def _replace(self, source: Any, target: Any, **more: Any) -> None:
        self._does("rename", target, lambda: _REAL["replace"](source, target, **more))

    def _rename(self, source: Any, target: Any, **more: Any) -> None:
        self._does("rename", target, lambda: _REAL["rename"](source, target, **more))

    def _link(self, source: Any, target: Any, **more: Any) -> None:
        self._does("link", target, lambda: _REAL["link"](source, target, **more))

    def _unlink(self, path: Any, **more: Any) -> None:
        self._does("unlink", _at(path, more), lambda: _REAL["unlink"](path, **more))

    _remove = _unlink

    def _rmdir(self, path: Any, **more: Any) -> None:
        self._does("rmdir", _at(path, more), lambda: _REAL["rmdir"](path, **more))

    def _mkdir(self, path: Any, mode: int = 0o777, **more: Any) -> None:
        if os.path.lexists(path):
            _REAL["mkdir"](path, mode, **more)  # raises

        def act() -> None:
            _REAL["mkdir"](path, mode, **more)
            self._folders.add(os.stat(path).st_ino)
            self._hold(path)

        self._does("mkdir", path, act)

    def _chmod(self, path: Any, mode: int, **more: Any) -> None:
        self._does("chmod", path, lambda: _REAL["chmod"](path, mode, **more))

    def _io_open(
        self,
        file: Any,
        mode: str = "r",
        buffering: int = -1,
        encoding: str | None = None,
        errors: str | None = None,
        newline: str | None = None,
        closefd: bool = True,
        opener: Any = None,
    ) -> Any:
        if not set(mode) & set("wax+") or self._inside(file) is None:
            return _REAL_OPEN(file, mode, buffering, encoding, errors, newline, closefd, opener)
        raw = _Raw(self, file, mode.replace("b", "").replace("t", ""), closefd)
        if buffering == 0:
            return raw
        buffered: Any = io.BufferedRandom(raw) if "+" in mode else io.BufferedWriter(raw)
        return buffered if "b" in mode else io.TextIOWrapper(buffered, encoding, errors, newline)


class _Raw(io.FileIO):
    """A file whose writes are operations of a disk."""

    def __init__(self, disk: Disk, file: Any, mode: str, closefd: bool) -> None:
        self._disk = disk
        super().__init__(file, mode, closefd, opener=disk._open)
        disk._opened.append(self)

    def write(self, data: Any) -> int:
        whole = super().write
        if self._disk.dead:  # a buffer that is emptied when nobody is there any more
            return len(data)
        content = bytes(data)

        def half() -> None:
            whole(content[: len(content) // 2])

        return int(self._disk._does("write", self.fileno(), lambda: whole(content), half))

    def truncate(self, size: int | None = None) -> int:
        cut = super().truncate
        if size is not None and size >= os.fstat(self.fileno()).st_size:
            return cut(size)
        return int(self._disk._does("truncate", self.fileno(), lambda: cut(size)))


def _no_link(source: Any, target: Any, **_: Any) -> None:
    raise PermissionError(errno.EPERM, os.strerror(errno.EPERM), source, None, target)


def _at(path: Any, more: dict[str, Any]) -> Any:
    """A path that was given relative to an open folder."""
    handle = more.get("dir_fd")
    return path if handle is None else os.path.join(os.readlink(f"/proc/self/fd/{handle}"), path)


_PATCHED = ("open", "fsync", "replace", "rename", "link", "unlink", "remove", "rmdir", "mkdir", "chmod")
_REAL: dict[str, Callable[..., Any]] = {name: getattr(os, name) for name in _PATCHED}
_REAL_OPEN = io.open
