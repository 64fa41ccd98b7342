"""The logger's own alarm, at the stop load of a session's rig: it calls even where no host is near."""

from typing import TYPE_CHECKING

from breakyard.errors import BreakyardError, Refused
from breakyard.wire.layout import SETTING_LIMITS, Setting

if TYPE_CHECKING:
    from breakyard.device.client.client import Client
    from breakyard.session.session import Session


async def set_alarm(client: "Client", session: "Session") -> tuple[str, str]:
    """Set it before a pull is awaited. Returns (what was done, what was not and why); each may be empty.

    It stays set at the logger. A session without a stop load, or without a calibration that makes counts of it,
    changes nothing there. Raises: LinkError.
    """
    from breakyard.session.stopping import alarm_counts

    kept = client.settings.alarm_counts if client.settings is not None else 0
    still = f"; the one set before stays, at {kept} counts from zero" if kept else ""
    try:
        counts, said = alarm_counts(session)
    except BreakyardError as error:
        return "", f"the logger's alarm is not set: {error}{still}"
    if not counts:
        return (f"the session has no stop load for the logger's alarm{still}" if kept else ""), ""
    _, _, highest = SETTING_LIMITS[Setting.ALARM_COUNTS]
    if counts > highest:
        return "", f"the logger's alarm is not set: {said} is beyond the converter's range{still}"
    if counts != kept:
        try:
            await client.set(Setting.ALARM_COUNTS, counts)
        except Refused as refused:
            return "", f"the logger's alarm is not set: {refused}{still}"
    return f"the logger's alarm is at the stop load, {said}", ""
