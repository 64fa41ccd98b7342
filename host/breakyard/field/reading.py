"""A pull as the pages show it: read as every other is, but in a process of its own so that numbers stay fresh."""

import multiprocessing
import os
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from breakyard.report.trace import Trace
    from breakyard.session.session import Session

POINTS: Final = 3000
"""Of a curve that goes to a phone; all samples within BREAK_S of the peak, the others thinned by least and largest."""

BREAK_S: Final = 0.5


def end_with_the_command() -> None:
    """Let this process end when the command that began it has, however that ended: nobody reads its answers then."""
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def wait() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait, daemon=True).start()


def weighed_for_pages(session: "Session", name: str) -> dict[str, Any]:
    """What the pages show of a run in which something was weighed; why not, where it cannot be."""
    from breakyard.errors import BreakyardError
    from breakyard.session.finding import find_pulls
    from breakyard.session.options import ReadOptions
    from breakyard.session.weighing import WEIGHED_S, weigh_recording

    notes = session.notes(name)
    told: dict[str, Any] = {"name": name, "specimen": "", "peak": None, "note": notes.notes}
    try:
        (pull,) = find_pulls([next(run.path for run in session.runs() if run.name == name)])
        found = weigh_recording(pull, ReadOptions(), tare_kg=None)
    except BreakyardError as error:
        return told | {"weighed": {}, "problem": str(error)}
    weighed = {
        "mass_kg": found.mass_kg,
        "low_kg": found.low_kg,
        "high_kg": found.high_kg,
        "tare_kg": found.tare_kg,
        "swing_kg": found.hung.swing_n / found.gravity.value,
        "seconds": WEIGHED_S,
        "gravity": found.gravity.sentence,
        "coverage": found.coverage,
    }
    return told | {"weighed": weighed}


def read_for_pages(session_root: Path, name: str) -> list[dict[str, Any]]:
    """What the pages show of each pull of one run. Never raises for a pull that cannot be read: it says why."""
    from breakyard.document import to_plain
    from breakyard.errors import BreakyardError
    from breakyard.report.trace import make_trace
    from breakyard.report.words.wording import doubts, manner_text
    from breakyard.session.options import ReadOptions
    from breakyard.session.pulls import PURPOSE, WEIGHING_PURPOSE, pulls_of
    from breakyard.session.reading import read_one
    from breakyard.session.session import open_session

    session = open_session(session_root)
    if session.notes(name).more.get(PURPOSE) == WEIGHING_PURPOSE:
        return [weighed_for_pages(session, name)]
    found = []
    for pull in pulls_of(session):
        if pull.name != name:
            continue
        try:
            results = read_one(pull, ReadOptions())
        except BreakyardError as error:
            found.append({"name": pull.name, "specimen": pull.specimen, "peak": None, "problem": str(error)})
            continue
        for result, curve in results:
            told: dict[str, Any] = {"name": result.pull.name, "specimen": result.pull.specimen, "peak": None}
            summary = result.summary
            if summary is None:
                found.append(told | {"problem": result.problem})
                continue
            notes = session.notes(name)
            found.append(
                told
                | {
                    "peak": to_plain(summary.peak),
                    "strength": to_plain(summary.strength),
                    "manner": manner_text(summary),
                    "doubts": list(doubts(summary, session.info.unit)),
                    "curve": thinned(make_trace(curve, summary, "N"), summary.peak.time_s),
                    "outcome": notes.more.get("outcome", ""),
                    "note": notes.notes,
                }
            )
    return found


def thinned(trace: "Trace", peak_s: float) -> dict[str, list[float]]:
    """A curve of at most about POINTS points that keeps every extreme: {"time_s", "load_n"} as lists."""
    import numpy as np

    there = np.isfinite(trace.load)
    time_s, load_n = trace.time_s[there], trace.load[there]
    keep = np.abs(time_s - peak_s) <= BREAK_S
    stride = max(1, -(-2 * len(time_s) // POINTS))  # rounded up
    for start in range(0, len(time_s), stride):
        block = load_n[start : start + stride]
        keep[start + int(np.argmin(block))] = True
        keep[start + int(np.argmax(block))] = True
    return {
        "time_s": [round(float(t), 4) for t in time_s[keep]],
        "load_n": [round(float(f), 2) for f in load_n[keep]],
    }
