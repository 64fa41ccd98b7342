"""What leaves the command: plain text for people or one JSON document, and the exit status.

Exit status: 0 done; 1 the data says no (a check failed); 2 wrong use or unreadable input, with one clear line on
standard error; 130 stopped by Ctrl-C.
"""

import io
import re
import shutil
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, NoReturn, TypeVar

import typer

from breakyard.errors import BreakyardError, DataError, FileHeld, UnreadKey
from breakyard.report.words.printable import printable
from breakyard.units import force_unit

if TYPE_CHECKING:
    from rich.progress import Progress

    from breakyard.device.fetching import Advance
    from breakyard.session.reading import PullResult

_T = TypeVar("_T")

STATUS_NO = 1
STATUS_WRONG = 2
STATUS_INTERRUPTED = 130
"""Ctrl-C: 128 and the signal's number, as shells and typer have it."""
STOPPED = "stopped; what was written before stays valid"


def _unit(text: str) -> str:
    return force_unit(text)


JsonOption = Annotated[
    bool, typer.Option("--json", help="Print one JSON document (newtons, seconds) and nothing else.")
]
UnitOption = Annotated[
    str | None, typer.Option("--unit", "-u", help="Unit of force shown: N, daN, kN, kgf, tf, lbf or kip.")
]


def fail(message: str, kind: str = "DataError", status: int = STATUS_WRONG) -> NoReturn:
    """Say in one line what is wrong and stop; `kind` is the error's class, for programs."""
    one_line = " ".join(printable(message).split())
    print(f"breakyard: {one_line}", file=sys.stderr)
    raise Failed(one_line, kind, status)


def stopped(what: str = STOPPED) -> NoReturn:
    """Say what is there after Ctrl-C, and stop."""
    fail(what, "KeyboardInterrupt", STATUS_INTERRUPTED)


class Failed(SystemExit):
    """The end of a command that could not do what it was asked."""

    def __init__(self, problem: str, kind: str, status: int = STATUS_WRONG) -> None:
        super().__init__(status)
        self.document = {
            "schema": "breakyard.error/1",
            "status": status,
            "kind": kind,
            "problem": problem,
        }


def run_told(command: Callable[[], object], words: Sequence[str]) -> None:
    """Run the whole command line with these words; where they ask for JSON, a failure is a document, too.

    A document that was printed before it failed stands alone: what went wrong is then on standard error only.
    """
    Output.documents = 0
    try:
        with unread_keys_told():
            status = guarded(command)
            if status == STATUS_INTERRUPTED:
                stopped()
    except Failed as failed:
        if "--json" in words and not Output.documents:
            Output(as_json=True).document(failed.document)
        raise
    if isinstance(status, int) and status:
        sys.exit(status)


@contextmanager
def unread_keys_told() -> Iterator[None]:
    """Within, a key that nothing reads is reported in a line on standard error, once; other warnings as ever."""
    with warnings.catch_warnings():
        warnings.simplefilter("once", UnreadKey)
        before = warnings.showwarning

        def show(message: Any, category: type[Warning], *more: Any, **named: Any) -> None:
            if issubclass(category, UnreadKey):
                print(f"breakyard: {' '.join(printable(str(message)).split())}", file=sys.stderr)
            else:
                before(message, category, *more, **named)

        warnings.showwarning = show
        yield


def guarded(command: Callable[[], _T]) -> _T:
    """Run a command; errors raised on purpose, and the system's own about files, become one line and status 2."""
    try:
        return command()
    except BreakyardError as error:
        fail(str(error), type(error).__name__)
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        fail(f"{where}{error.strerror or error}", "OSError")
    except UnicodeEncodeError as error:
        piece = error.object[error.start : error.end].encode("ascii", "backslashreplace").decode()
        fail(
            f"a word of the command, or the name of a file, holds {piece}, which is no letter in UTF-8; write it anew"
        )
    except typer.Abort as abort:
        if isinstance(abort.__cause__, KeyboardInterrupt):
            stopped()
        print("stopped, nothing was changed", file=sys.stderr)
        sys.exit(STATUS_NO)
    except Exception as error:
        # What typer refuses; its errors are of other classes in each of its versions, but speak alike.
        show, words = getattr(error, "show", None), getattr(error, "format_message", None)
        if show is None or words is None:
            raise
        said = io.StringIO()
        show(said)
        print(printable(said.getvalue()), end="", file=sys.stderr)
        if "number" in str(words()) and (comma := next(filter(_decimal_comma, sys.argv), None)):
            print(f"numbers of options have a decimal point: {comma.replace(',', '.')}", file=sys.stderr)
        raise Failed(" ".join(str(words()).split()), "UsageError") from None
    except KeyboardInterrupt:
        stopped()


def _decimal_comma(word: str) -> bool:
    return re.fullmatch(r"(--[a-z-]+=)?-?\d+,\d+", word) is not None


@contextmanager
def elsewhere_offered(stated: object) -> Iterator[None]:
    """Within, a file that cannot be written where nobody asked for it (a read-only medium) can be put elsewhere."""
    try:
        yield
    except FileHeld:
        raise
    except DataError as error:
        if stated is not None:
            raise
        raise DataError(f"{error}; name another place with --output") from None


def steady_streams() -> None:
    """See that no letter ends a command, whatever code page or locale the system has.

    A terminal gets a replacement for what it cannot show. Files and pipes get UTF-8 everywhere, as programs expect it.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a program without a console has none
            stream.reconfigure(encoding=None if stream.isatty() else "utf-8", errors="replace")


@dataclass(frozen=True, slots=True)
class Output:
    """Where a command's results go."""

    as_json: bool
    documents: ClassVar[int] = 0
    """How many were printed since the command began: one, or none yet."""

    @property
    def can_ask(self) -> bool:
        """Whether somebody sits at a terminal who can be asked something."""
        return not self.as_json and sys.stdin.isatty() and sys.stderr.isatty()

    def document(self, value: Any) -> None:
        """Print the JSON document, if JSON was asked for; what is no finite number becomes null."""
        if self.as_json:
            from breakyard.formats.write_json import json_text

            # PowerShell reads what is piped in the console's code page: plain ASCII is the same in each.
            print(json_text(value, ascii_only=not sys.stdout.isatty()), end="")
            Output.documents += 1

    def say(self, text: str) -> None:
        """Print a line for people."""
        if not self.as_json:
            print(printable(text))

    def warn(self, text: str) -> None:
        """Say in one line on standard error what to know about a result that is shown all the same."""
        one_line = " ".join(printable(text).split())
        print(f"breakyard: {one_line}", file=sys.stderr)

    def table(self, title: str, headings: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
        """Print a table for people; the first column names the row."""
        if self.as_json:
            return
        from breakyard.cli.tables import lay_out

        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
        print(lay_out(title, headings, [list(row) for row in rows], width))

    @contextmanager
    def progress(self, label: str, total: int) -> "Iterator[Advance]":
        """Show a progress bar on standard error; the value is called once per finished piece, with its name."""
        from rich.console import Console
        from rich.progress import (
            BarColumn,
            MofNCompleteColumn,
            Progress,
            TextColumn,
            TimeElapsedColumn,
            TimeRemainingColumn,
        )

        columns = (
            TextColumn("{task.description}", markup=False),
            BarColumn(),
            MofNCompleteColumn(),
            TimeElapsedColumn(),
            TextColumn("left:"),
            TimeRemainingColumn(),
            TextColumn("{task.fields[piece]}", markup=False),
        )
        with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
            task = bar.add_task(label, total=total, piece="")

            def step(piece: str, by: int = 1) -> None:
                _advance(bar, int(task), piece, by)

            yield step


def _advance(bar: "Progress", task: int, piece: str, by: int) -> None:
    from rich.progress import TaskID

    bar.update(TaskID(task), advance=by, piece=printable(piece))


def near(path: Path) -> Path:
    """A path as somebody in this folder would type it."""
    try:
        return path.absolute().relative_to(Path.cwd())
    except ValueError:
        return path


def told_once(results: "Iterable[PullResult]") -> list[str]:
    """Why pulls could not be read, each reason once, with the names of those that share it."""
    by_reason: dict[str, list[str]] = {}
    for result in results:
        if result.summary is None:
            reason = result.problem.removeprefix(f"{result.pull.name}: ")
            by_reason.setdefault(reason, []).append(result.pull.name)
    return [
        f"{names[0]}: {reason}" if len(names) == 1 else f"{len(names)} pulls ({', '.join(names)}): {reason}"
        for reason, names in by_reason.items()
    ]
