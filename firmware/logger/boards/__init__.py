"""One file per board: its pins, its drivers, its links."""
