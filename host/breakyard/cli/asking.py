"""Questions that a command asks only where somebody sits at a terminal; each has an option, and a wide default."""

import sys
from typing import TYPE_CHECKING, Final, cast

import typer

from breakyard.errors import BreakyardError, UsageError

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from breakyard.calibration.known_loads import Basis
    from breakyard.session.beginning import Wanted
    from breakyard.session.session import Session

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


def ask_converter() -> str | None:
    """What made the counts of an imported recording, as --converter says it; None if nobody knows."""
    from breakyard.session.converters import UNKNOWN, parse_converter

    question = (
        "Which converter made the counts: hx711-128, hx711-64 or hx711-32 (with its gain), or bits, full scale and "
        'filter, as "24 bits, 20 mV/V, sinc 3"? (Enter if you do not know)'
    )
    while True:
        text = str(typer.prompt(question, default="", show_default=False, err=True)).strip()
        if text.lower() in ("", UNKNOWN):
            return None
        try:
            parse_converter(text)
        except UsageError as error:
            typer.echo(str(error), err=True)
            continue
        return text


def session_here(path: "Path", as_json: bool) -> "Session":
    """The session that a path lies in; where there is none, a terminal is offered to make one.

    Raises: UsageError, which names the command that makes one.
    """
    from breakyard.session.session import find_session

    session = find_session(path)
    if session is not None:
        return session
    none = f"{path}: no session here (no session.toml in this folder or above it)"
    if somebody(as_json) and (not path.exists() or (path.is_dir() and not any(path.iterdir()))):
        typer.echo(none)
        if typer.confirm("Make one there now?", default=True):
            return make_session(path)
    raise UsageError(f"{none}; make one with: breakyard new {'FOLDER' if path == path.parent else path}")


def make_session(folder: "Path") -> "Session":
    """Make a session with what somebody at the terminal says. Raises: as `begin`."""
    from datetime import date

    from breakyard.session.beginning import Wanted, begin

    session = begin(folder, ask_session(Wanted(day=date.today()), ()))
    for line in begun(session)[:1]:
        typer.echo(line)
    return session


def ask_session(wanted: "Wanted", said: "Collection[str]") -> "Wanted":
    """What a new session is to say, asked for where it was not said; typing nothing takes the default."""
    from dataclasses import replace

    from breakyard.units import force_unit

    typer.echo("Typing nothing takes what stands in brackets, or leaves it open; all can be changed later.")
    while "unit" not in said:
        try:
            wanted = replace(
                wanted, unit=force_unit(typer.prompt("Unit of force to show", default=wanted.unit).strip())
            )
        except BreakyardError as error:
            typer.echo(str(error))
            continue
        break
    if "place" not in said:
        wanted = replace(wanted, place=_text("Where is it"))
    if "capacity" not in said:
        capacity, output = ask_plate()
        wanted = replace(wanted, capacity=capacity, rated_output_mv_v=output)
    if "groups" not in said and (text := _text('What will be compared, as "bonded, screwed"')):
        names = tuple(dict.fromkeys(name.strip() for name in text.split(",") if name.strip()))
        each = typer.prompt("How many specimens of each", default=wanted.each, type=int)
        wanted = replace(wanted, groups=names, each=each)
    return wanted


def _text(question: str) -> str:
    return str(typer.prompt(f"{question} (empty: not said)", default="", show_default=False)).strip()


def begun(session: "Session") -> list[str]:
    """What is shown of a new session: what was made, and the next three commands."""
    folder = session.root
    return [
        f"made: {folder}; what each file in it is: {folder / 'FILES.txt'}",
        "",
        "Next:",
        f"  breakyard rig {folder} --template    writes an example of the rig into session.toml: make it yours",
        f"  breakyard record {folder}            each pull with the logger; or, with another instrument:",
        f"  breakyard import FILES --session {folder} --group NAME",
        "",
        f"At any time, where you are and what is missing: breakyard next {folder}",
    ]
