"""What is kept of a crash until somebody has read it: the text in a file, its lines in the log after restart."""

import io
import sys

from micropython import const

from .core.record import text_bytes

FILE = "crash"
_LINES = 5
_KEPT = const(400)  # bytes: the end of the text, in one small piece when it is read at a start


def keep(files, error: BaseException) -> None:  # type: ignore[no-untyped-def]
    """Write down where it happened; silent when even that fails, because a restart matters more.

    What is there already is not written again: a board that crashes at each start must not wear the flash out.
    """
    try:
        text = _text(error)
    except MemoryError:
        text = b"no memory to say what happened"
    try:
        buffer = bytearray(_KEPT)
        if _read(files, buffer) != len(text) or buffer[: len(text)] != text:
            files.replace(FILE, text)
    except (OSError, MemoryError):
        pass


def _text(error: BaseException) -> bytes:
    text = io.StringIO()
    if hasattr(sys, "print_exception"):
        sys.print_exception(error, text)
    else:
        import traceback  # type: ignore[import-not-found]  # CPython has it

        traceback.print_exception(error, file=text)
    return bytes(text.getvalue().encode()[-_KEPT:])


def _read(files, buffer: bytearray) -> int:  # type: ignore[no-untyped-def]
    try:
        return int(files.read(FILE, 0, memoryview(buffer)))
    except OSError:
        return 0


def lines(files) -> list[str]:  # type: ignore[no-untyped-def]
    """The end of what was kept, for the log; [] when there is nothing."""
    buffer = bytearray(_KEPT)
    count = _read(files, buffer)
    if not count:
        return []
    kept = []
    text = "".join([chr(byte) if byte < 128 else "?" for byte in buffer[:count]])
    for line in text.strip().split("\n"):
        line = line.strip().replace('File "', "").replace('", line ', ":")
        kept.append(text_bytes(line).decode())
    return ["restarted after a crash:"] + kept[-_LINES:]


def forget(files) -> None:  # type: ignore[no-untyped-def]
    """Somebody has read it."""
    try:
        files.remove(FILE)
    except OSError:
        pass
