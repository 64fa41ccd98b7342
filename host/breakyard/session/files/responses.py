"""responses/: how a logger's converter answers a sudden step, one document per logger.

A response belongs to the logger, not to the day: one that was measured in a session beside this one counts too, and
the session's own comes first.
"""

import json
from pathlib import Path
from typing import Final

from breakyard.converter import StepResponse
from breakyard.disk.atomic import remove_drafts, write_atomically, write_once
from breakyard.errors import DataError, UsageError
from breakyard.formats.text import unicode_text
from breakyard.session.files.layout import SESSION_FILE, name_from
from breakyard.session.files.run_files import read_bytes

FOLDER: Final = "responses"


def response_file(folder: Path, logger: str) -> Path:
    """Where a session (or the folder of a recording) keeps the response of a logger."""
    return folder / FOLDER / f"{name_from(logger or 'unknown')}.json"


def visible_responses(folder: Path) -> tuple[Path, ...]:
    """Every response that recordings in this folder could be read with: its own, then those of sessions beside it."""
    found = sorted((folder / FOLDER).glob("*.json"))
    if (folder / SESSION_FILE).is_file():
        for path in sorted(folder.parent.glob(f"*/{FOLDER}/*.json")):
            beside = path.parent.parent
            if beside != folder and (beside / SESSION_FILE).is_file():
                found.append(path)
    return tuple(path for path in found if not path.name.startswith("."))


def find_response(folder: Path, logger: str) -> StepResponse | None:
    """The response of a logger: the folder's own, else the latest of the sessions beside it; None if there is none.

    Raises: DataError if the document is damaged.
    """
    paths = [path for path in visible_responses(folder) if path.name == response_file(folder, logger).name]
    own = [path for path in paths if path.parent.parent == folder]
    found = [read_response(path) for path in own or paths]
    found = [one for one in found if one.logger == logger]
    return max(found, key=lambda one: one.created, default=None)


def read_response(path: Path) -> StepResponse:
    """Read one document. Raises: DataError, naming the file."""
    data = read_bytes(path)
    try:
        return StepResponse.from_json(unicode_text(data))
    except UnicodeDecodeError:
        raise DataError(f"{path}: this is no step response (no UTF-8 text)") from None
    except DataError as error:
        raise DataError(f"{path}: {error}") from None


def keep_response(path: Path, response: StepResponse, *, replace: bool = False) -> bool:
    """Write a response; False if the very same one is there already.

    Raises: UsageError if another one is there and is not to be replaced; DataError if the disk refuses.
    """
    data = (json.dumps(response.to_json(), indent=2) + "\n").encode()
    if path.exists():
        if not replace:
            have = read_response(path)
            if have.same_but_for_time(response):
                remove_drafts(path.parent)  # the command that wrote it may have been stopped right then
                return False
            raise UsageError(
                f"{path}: another response of this logger is there (made {have.created}); "
                "keep it, or put the new one in its place with --replace"
            )
        write_atomically(path, data)
        return True
    return write_once(path, data)
