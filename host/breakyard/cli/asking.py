"""Questions that a command asks only where somebody sits at a terminal; each has an option, and a wide default."""

import sys
from typing import TYPE_CHECKING, Final, cast

import typer

from breakyard.errors import BreakyardError, UsageError

if TYPE_CHECKING:
    from breakyard.calibration.known_loads import Basis

BASES: Final = ("certificate", "weighed", "marked")


def somebody(as_json: bool) -> bool:
    """Whether there is anybody to ask: a terminal on both ends, and no program that waits for JSON."""
    return not as_json and sys.stdin.isatty() and sys.stdout.isatty()


def basis_from(text: str | None) -> "Basis | None":
    """How masses are known, as an option says it. Raises: UsageError."""
    if text is None:
        return None
    word = text.strip().lower()
    if word not in BASES:
        raise UsageError(f'--masses-known "{text}": use certificate, weighed or marked')
    return cast("Basis", word)


def ask_basis() -> "tuple[Basis, float | None]":
    """How the masses are known, and their limit in percent where it is known; typing nothing takes the wide one."""
    typer.echo(
        "How are the masses known?\n"
        "  certificate  each has one, or a class of OIML R 111 stamped on it\n"
        "  weighed      somebody weighed each of them, all on one scale\n"
        "  marked       only by what is cast or printed on them (plates of a gym, bags, cans)"
    )
    while True:
        try:
            basis = basis_from(typer.prompt("certificate, weighed or marked", default="marked"))
        except UsageError as error:
            typer.echo(str(error))
            continue
        assert basis is not None
        break
    if basis == "marked":
        return basis, None
    what = "their certificate allow" if basis == "certificate" else "the scale err by"
    return basis, _percent(f"How far off does {what}, in percent (empty: not known)")


def _percent(question: str) -> float | None:
    while True:
        text = typer.prompt(question, default="", show_default=False).strip().removesuffix("%").strip()
        if not text:
            return None
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = -1.0
        if 0.0 <= value < 100.0:
            return value
        typer.echo("give a percentage, as 0.1, or nothing")


def ask_plate() -> tuple[str | None, float | None]:
    """Capacity and rated output as the cell's plate says; typing nothing leaves them unknown."""
    from breakyard.units import parse_force

    typer.echo("What does the cell's plate say? (empty: it cannot be read)")
    while True:
        capacity = typer.prompt('Capacity, as "1000 kgf"', default="", show_default=False).strip()
        if not capacity:
            return None, None
        try:
            parse_force(capacity)
        except BreakyardError as error:
            typer.echo(str(error))
            continue
        break
    while True:
        text = typer.prompt("Rated output in mV/V, as 2", default="", show_default=False).strip()
        if not text:
            return capacity, None
        try:
            return capacity, float(text.replace(",", "."))
        except ValueError:
            typer.echo("give a number, as 2, or nothing")
