"""breakyard next: where a session stands in the job, and what to do next."""

from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.output import JsonOption, Output


def command(
    session: Annotated[Path, typer.Argument(help="The session's folder.")] = Path(),
    as_json: JsonOption = False,
) -> None:
    """Say where a session stands, what is missing, what comes next.

    Planned, rig, calibrated, recorded, read, compared, reported: each step is judged by the files themselves, so it
    does not matter who did it, or with what.

    Example: breakyard next 2026-05-03-slipway
    """
    from breakyard.cli.asking import session_here
    from breakyard.document import to_plain
    from breakyard.session.standing import next_step, own_keys, standing

    out = Output(as_json)
    opened = session_here(session, as_json)
    steps = standing(opened, str(session))
    todo, own = next_step(steps), own_keys(opened)
    out.document(
        {
            "schema": "breakyard.next/1",
            "session": str(opened.root),
            "steps": to_plain(steps),
            "own_keys": list(own),
            "next": None if todo is None else to_plain(todo),
        }
    )
    marks = {"done": "[x]", "to do": "[ ]", "not needed": "[-]"}
    for step in steps:
        out.say(f"{marks[step.state]} {step.name.ljust(10)} {step.said}")
    if own:
        out.say(
            f"    your own keys in session.toml: {', '.join(own)} (kept; compare can take them as factors)"
        )
    if todo is None:
        out.say(f"\nAll is done. The page to show or print: {steps[-1].said}")
    elif todo.command:
        out.say(f"\nNext: {todo.command}")
