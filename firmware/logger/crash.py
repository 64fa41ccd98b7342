"""What is kept of a crash until somebody has read it: the text in a file, its lines in the log after restart."""

import io
import sys

from micropython import const

from .core.record import text_bytes

FILE = "crash"
_LINES = 5
_KEPT = const(400)  # bytes: the end of the text, in one small piece when it is read at a start


def keep(files, error: Exception) -> None:  # type: ignore[no-untyped-def]
    """Write down where it happened; silent when even that fails, because a restart matters more."""
    text = io.StringIO()
    if hasattr(sys, "print_exception"):
        sys.print_exception(error, text)
    else:
        import traceback  # type: ignore[import-not-found]  # CPython has it

        traceback.print_exception(error, file=text)
    try:
        files.replace(FILE, text.getvalue().encode()[-_KEPT:])
    except OSError:
        pass


def lines(files) -> list[str]:  # type: ignore[no-untyped-def]
    """The end of what was kept, for the log; [] when there is nothing."""
    buffer = bytearray(_KEPT)
    try:
        count = files.read(FILE, 0, memoryview(buffer))
    except OSError:
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
