"""What is kept of a crash until somebody has read it: the text in a file, its lines in the log after restart."""

import io
import sys

from .core.record import text_bytes

FILE = "crash"
_LINES = 5


def keep(files, error: Exception) -> None:  # type: ignore[no-untyped-def]
    """Write down where it happened; silent when even that fails, because a restart matters more."""
    text = io.StringIO()
    if hasattr(sys, "print_exception"):
        sys.print_exception(error, text)
    else:
        import traceback  # type: ignore[import-not-found]  # CPython has it

        traceback.print_exception(error, file=text)
    try:
        files.replace(FILE, text.getvalue().encode())
    except OSError:
        pass


def lines(files) -> list[str]:  # type: ignore[no-untyped-def]
    """The end of what was kept, for the log; [] when there is nothing."""
    buffer = bytearray(2000)
    try:
        count = files.read(FILE, 0, memoryview(buffer))
    except OSError:
        return []
    kept = []
    for line in bytes(buffer[:count]).decode().strip().split("\n"):
        line = line.strip().replace('File "', "").replace('", line ', ":")
        kept.append(text_bytes(line).decode())
    return ["restarted after a crash:"] + kept[-_LINES:]


def forget(files) -> None:  # type: ignore[no-untyped-def]
    """Somebody has read it."""
    try:
        files.remove(FILE)
    except OSError:
        pass
