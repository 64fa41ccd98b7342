"""The board's settings file: changed line by line, so that what a builder wrote beside the values stays."""

import difflib
import re
from collections.abc import Mapping

from breakyard.errors import UsageError

_NAME = re.compile(r"[a-z][a-z0-9_]*")


def with_settings(text: str, changes: Mapping[str, str]) -> str:
    """Return the text with these settings: in place, or where the file shows them as a remark, or at its end.

    Raises: UsageError for a name or value that cannot stand in such a file.
    """
    # Line feeds only, as the logger reads it; the carriage returns of other systems are no lines of their own.
    text = text.removeprefix("\ufeff")
    lines = [line.rstrip("\r") for line in text.removesuffix("\n").split("\n")] if text else []
    for name, value in changes.items():
        if not _NAME.fullmatch(name) or not value or "#" in value or "\n" in value:
            raise UsageError(f"setting {name}={value}: give it as NAME=VALUE, without # and line ends")
        for pattern in (rf"\s*{name}\s*=[^#]*", rf"#\s*{name}\s*=[^#]*"):
            at = next((i for i, line in enumerate(lines) if re.match(pattern, line)), None)
            if at is not None:
                rest = re.sub(rf"^{pattern}", "", lines[at])
                lines[at] = f"{name} = {value}" + (f"  {rest}" if rest else "")
                break
        else:
            lines.append(f"{name} = {value}")
    return "\n".join(lines) + "\n"


def check_names(changes: Mapping[str, str], text: str) -> None:
    """See that each name is one that the firmware's own file shows. Raises: UsageError."""
    known = re.findall(r"^#?\s*([a-z][a-z0-9_]*)\s*=", text, re.M)
    for name in changes:
        if name not in known:
            near = difflib.get_close_matches(name, known, 1) or [", ".join(known)]
            raise UsageError(f"no setting is called {name}; did you mean {near[0]}?")
