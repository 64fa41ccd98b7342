"""The board files themselves, started on stand-ins of everything that they touch."""

import pytest


@pytest.mark.parametrize("board", ["pico_w", "pico2_w", "esp32"])
def test_the_watchdog_begins_after_what_is_slow_and_is_fed(interpret, tmp_path, board):
    """A radio that takes 15 s to start and a flash that takes 10 s to look at do not make it bite."""
    program = "tests/on_micropython/start_of_board.py"
    done = interpret(program, board, tmp_path / "runs", folders=("firmware",))
    early = interpret(program, board, tmp_path / "runs", "early", folders=("firmware",))

    order, wired = done.stdout.strip().splitlines()
    assert order == "flash is looked at, radio starts, watchdog", done.stdout + done.stderr
    # The battery's pin reads to 2.45 V, not to 0.95 V; the board's regulator does not skip pulses.
    assert wired == ("attenuation 3" if board == "esp32" else "regulator 1")
    assert "the watchdog bites" in early.stdout


@pytest.mark.parametrize(
    ("board", "reason", "cause"), [("pico_w", 2, 2), ("pico2_w", 2, 2), ("pico_w", 1, 3)]
)
def test_a_reset_that_was_asked_for_is_no_bite_of_the_watchdog(interpret, tmp_path, board, reason, cause):
    """The port says WDT_RESET of both; REASON has bit 1 for FORCE, bit 0 for TIMER (RP2040 data sheet, 4.7.6)."""
    done = interpret(
        "tests/on_micropython/start_of_board.py",
        board,
        tmp_path / "runs",
        f"reason={reason}",
        folders=("firmware",),
    )

    assert done.stdout.splitlines()[-1] == f"reset cause {cause}", done.stdout + done.stderr
