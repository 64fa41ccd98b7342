"""The help of the whole command: its commands under the stages of the job, in plain text."""

from typing import Any

from typer.core import TyperGroup


class Staged(TyperGroup):
    """Lists the commands under the stage that each was registered with (as its help panel).

    Context and formatter are of other classes in each version of typer, so they have no types here.
    """

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write a section for each stage, in the order of the job; all descriptions begin in one column."""
        shown = {
            name: self.commands[name] for name in self.list_commands(ctx) if not self.commands[name].hidden
        }
        column = max(len(name) for name in shown)
        stages: dict[str, list[tuple[str, str]]] = {}
        for name, one in shown.items():
            stage = getattr(one, "rich_help_panel", None) or "Commands"
            # The frame takes six columns: an indent, the space between, and one at the right edge.
            words = one.get_short_help_str(formatter.width - 6 - column)
            stages.setdefault(stage, []).append((name.ljust(column), words))
        for stage, rows in stages.items():
            with formatter.section(stage):
                formatter.write_dl(rows)
