"""How long the logger's store will take samples, and whether that is enough for what the session still needs."""

from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from breakyard.device.client.client import Client
    from breakyard.session.session import Session
    from breakyard.wire.records import Status

PULL_S: Final = 120.0
"""Taken for a pull as long as the session has none (own choice): slack out, pull, let go."""
LEAST_S: Final = 600.0
"""Without a session: under ten minutes is little (own choice)."""
SPARE: Final = 1.25


def time_words(seconds: float) -> str:
    """ "26 minutes", "3 h 20 min", rounded down: what is promised is there."""
    minutes = int(seconds // 60)
    if minutes < 120:
        return f"{minutes} minute{'' if minutes == 1 else 's'}"
    return f"{minutes // 60} h {minutes % 60} min"


def needed_s(session: "Session | None", status: "Status") -> tuple[float, str]:
    """Seconds of samples that are still to come, and what that is for.

    With a session: its specimens without a run, each as long as the mean of the runs so far, and a quarter more.
    """
    if session is None:
        return LEAST_S, "a few pulls"
    from breakyard.session.pulls import specimens_done

    runs = [run for run in session.runs() if run.path.suffix == ".run"]
    done = specimens_done(session)
    left = max(1, sum(one.id not in done for one in session.specimens()))
    each_s = PULL_S
    sizes = [_size(run.path) for run in runs]
    if sizes and status.free_bytes and status.seconds_left:
        each_s = sum(sizes) / len(sizes) * status.seconds_left / status.free_bytes
    return SPARE * left * each_s, f"{left} pull{'' if left == 1 else 's'} to come"


def _size(path: Path) -> int:
    return path.stat().st_size


def room_lines(session: "Session | None", status: "Status") -> tuple[str, str]:
    """What to say before arming: how much room there is, and a warning or nothing."""
    said = f"room for {time_words(status.seconds_left)} of samples"
    need_s, what = needed_s(session, status)
    if status.seconds_left >= need_s:
        return said, ""
    return said, (
        f"little room: {time_words(status.seconds_left)} of samples, and {what} may need {time_words(need_s)}; "
        "fetch runs and let the logger erase them (breakyard logger fetch --erase)"
    )


async def ask_room(client: "Client") -> "Status":
    """A fresh status, which tells of the room. The stream of status is off afterwards. Raises: LinkError."""
    await client.stream_status(True)
    status = await client.wait_for_status()
    await client.stream_status(False)
    return status
