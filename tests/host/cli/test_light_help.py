"""The help comes at once: what computes and draws is loaded by the command that needs it."""

import subprocess
import sys

HEAVY = {
    "numpy",
    "scipy",
    "pandas",
    "matplotlib",
    "rich",
    "bleak",
    "serial",
    "sqlite3",
    "pyarrow",
    "websockets",
}


def test_the_help_loads_nothing_heavy() -> None:
    """No array, no table, no picture, no link, and neither does any module of a command."""
    script = (
        "import sys; from breakyard.cli.app import app; from breakyard.cli import commands; commands.register(app);"
        "print(*sorted({name.partition('.')[0] for name in sys.modules}))"
    )

    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)

    assert not HEAVY & set(done.stdout.split())
    assert "typer" in done.stdout.split()
