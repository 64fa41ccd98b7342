"""`python -m breakyard` is the command `breakyard`."""

import os
import signal
import sys


def main() -> None:
    """The command's process: while its modules load, and once it is done, Ctrl-C ends it without a word."""
    _know_letters()
    ours = (
        signal.getsignal(signal.SIGINT) is signal.default_int_handler
    )  # else somebody has it ignored: a job
    if ours:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from breakyard.cli.app import main as run

    if ours:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        run()
    finally:
        if ours:
            signal.signal(signal.SIGINT, signal.SIG_DFL)


def _know_letters() -> None:
    """Begin anew in UTF-8 where Python knows ASCII alone: the locale C with PYTHONUTF8=0.

    Letters in names of files and specimens would be pieces there, which neither a table nor TOML can hold.
    """
    if os.name == "posix" and sys.getfilesystemencoding() == "ascii" and "utf8" not in sys._xoptions:
        os.execv(sys.executable, [sys.executable, "-X", "utf8", *sys.orig_argv[1:]])


if __name__ == "__main__":
    main()
