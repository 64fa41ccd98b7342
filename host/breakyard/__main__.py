"""`python -m breakyard` is the command `breakyard`."""

import signal


def main() -> None:
    """The command's process: while its modules load, and once it is done, Ctrl-C ends it without a word."""
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


if __name__ == "__main__":
    main()
