"""Pulls -> summaries, with the session's results kept beside the runs and not computed twice."""

import json
import os
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from breakyard import __version__
from breakyard.cli.inputs import (
    Pull,
    digest,
    load_calibration,
    load_curve,
    load_response,
    visible_responses,
)
from breakyard.errors import BreakyardError, UsageError

if TYPE_CHECKING:
    from breakyard.results import Summary

MADE_FROM: Final = "made_from"
"""Key beside a stored summary: what it was computed from; another value means that it must be made again."""

_ENOUGH_FOR_TWO: Final = 12
"""Pulls from which a second process earns its start (about a second for numpy and scipy)."""


@dataclass(frozen=True, slots=True)
class Read:
    """A pull with its summary, or with the reason why there is none."""

    pull: Pull
    summary: "Summary | None"
    problem: str = ""
    kept: bool = False
    """True if the summary was taken from the session's results."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """How to read: the same for all pulls of one command."""

    calibration: Path | None = None
    accuracy_percent: float | None = None
    coverage: float = 0.95
    misalignment_deg: float = 0.0
    temperature_c: float | None = None
    response: str | None = None
    """Step response to read with: a file, "assumed", or None for what was measured of the logger."""


def read_pulls(pulls: Sequence[Pull], wanted: Wanted, step: Callable[[str], None]) -> tuple[Read, ...]:
    """Summarise pulls in their order; one that cannot be read does not stop the others.

    Results of pulls in a session are written to its results/ folder. `step` is called with each finished name.
    """
    kept = [_kept(pull, wanted) for pull in pulls]
    left = [pull for pull, have in zip(pulls, kept, strict=True) if have is None]
    made = iter(_make(left, wanted, step))
    found = []
    for pull, have in zip(pulls, kept, strict=True):
        if have is not None:
            step(pull.name)
            found.append(have)
            continue
        read = next(made)
        if pull.session is not None and read.summary is not None:
            _keep(read, wanted)
        found.append(read)
    return tuple(found)


def read_one(pull: Pull, wanted: Wanted) -> "Summary":
    """Summarise one pull. Raises: BreakyardError."""
    from breakyard.summary import summarise

    curve, run = load_curve(pull, wanted.calibration, accuracy_percent=wanted.accuracy_percent)
    return summarise(
        curve,
        coverage=wanted.coverage,
        misalignment_deg=wanted.misalignment_deg,
        temperature_c=wanted.temperature_c,
        response=load_response(pull, run, wanted.response),
    )


def _try(pull: Pull, wanted: Wanted) -> Read:
    try:
        return Read(pull, read_one(pull, wanted))
    except (BreakyardError, OSError) as error:
        return Read(pull, None, str(error))


def _make(pulls: Sequence[Pull], wanted: Wanted, step: Callable[[str], None]) -> list[Read]:
    workers = min(os.cpu_count() or 1, len(pulls))
    if len(pulls) < _ENOUGH_FOR_TWO or workers < 2:
        made = []
        for pull in pulls:
            made.append(_try(pull, wanted))
            step(pull.name)
        return made
    with ProcessPoolExecutor(workers) as pool:
        futures: list[Future[Read]] = [pool.submit(_try, pull, wanted) for pull in pulls]
        results = []
        for pull, future in zip(pulls, futures, strict=True):
            results.append(future.result())
            step(pull.name)
        return results


def _made_from(pull: Pull, wanted: Wanted) -> dict[str, Any]:
    """What a summary depends on. Raises: BreakyardError, OSError."""
    notes = pull.path.with_suffix(".toml")
    needs_calibration = pull.path.suffix.lower() == ".run"
    return {
        "version": __version__,
        "recording": digest(pull.path.read_bytes()),
        "notes": digest(notes.read_bytes()) if notes.exists() and not needs_calibration else "",
        "calibration": load_calibration(wanted.calibration, pull.session, pull.name).content_hash
        if needs_calibration
        else str(wanted.calibration or ""),
        "accuracy_percent": wanted.accuracy_percent,
        "coverage": wanted.coverage,
        "misalignment_deg": wanted.misalignment_deg,
        "temperature_c": wanted.temperature_c,
        "responses": visible_responses(pull, wanted.response),
    }


def _result_name(pull: Pull) -> str:
    return f"{pull.name}.summary.json"


def _kept(pull: Pull, wanted: Wanted) -> Read | None:
    """Return the stored summary, if it was made from the very same things."""
    from breakyard.results import Summary

    if pull.session is None:
        return None
    with suppress(BreakyardError, OSError, ValueError):
        document = json.loads(pull.session.layout.result_file(_result_name(pull)).read_text(encoding="utf-8"))
        if document.get(MADE_FROM) == _made_from(pull, wanted):
            return Read(pull, Summary.from_json(document), kept=True)
    return None


def _keep(read: Read, wanted: Wanted) -> None:
    from breakyard.formats.write_json import json_text

    assert read.pull.session is not None
    assert read.summary is not None
    with suppress(UsageError):  # a name that cannot be a file's: the summary is still shown
        read.pull.session.write_result(
            _result_name(read.pull),
            json_text(read.summary.to_json() | {MADE_FROM: _made_from(read.pull, wanted)}),
        )
