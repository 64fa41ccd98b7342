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
    from breakyard.converter import StepResponse
    from breakyard.curve import LoadCurve
    from breakyard.pull.results import Summary

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
    pull_speed_m_per_s: float | None = None


def read_pulls(pulls: Sequence[Pull], wanted: Wanted, step: Callable[[str], None]) -> tuple[Read, ...]:
    """Summarise pulls in their order; one that cannot be read does not stop the others.

    A recording of several pulls gives as many, "NAME#1", "NAME#2" and so on. Results of pulls in a session are
    written to its results/ folder. `step` is called with each finished recording's name.
    """
    sources = [_source(pull, wanted) for pull in pulls]
    kept = [_kept(pull, source) for pull, source in zip(pulls, sources, strict=True)]
    left = [pull for pull, have in zip(pulls, kept, strict=True) if have is None]
    made = iter(_make(left, wanted, step))
    found: list[Read] = []
    for pull, source, have in zip(pulls, sources, kept, strict=True):
        if have is not None:
            step(pull.name)
            found += have
            continue
        reads = next(made)
        if source is not None and all(read.summary is not None for read in reads):
            _keep(pull, reads, source)
        found += reads
    return tuple(found)


def read_one(pull: Pull, wanted: Wanted) -> "tuple[tuple[Read, LoadCurve], ...]":
    """Summarise each pull of one recording; with the curves. Raises: BreakyardError."""
    from breakyard.pull.split import split_pulls

    curve, run = load_curve(pull, wanted.calibration, accuracy_percent=wanted.accuracy_percent)
    response = load_response(pull, run, wanted.response)
    curves = split_pulls(curve)
    parts = pull.parts(len(curves))
    return tuple(
        (_read(part, one, wanted, response, alone=len(curves) == 1), one)
        for part, one in zip(parts, curves, strict=True)
    )


def _read(
    pull: Pull, curve: "LoadCurve", wanted: Wanted, response: "StepResponse | None", *, alone: bool
) -> Read:
    from breakyard.pull.summarize import summarise

    try:
        summary = summarise(
            curve,
            coverage=wanted.coverage,
            misalignment_deg=wanted.misalignment_deg,
            temperature_c=wanted.temperature_c,
            response=response,
            pull_speed_m_per_s=wanted.pull_speed_m_per_s,
        )
    except BreakyardError as error:
        if alone:
            raise
        return Read(pull, None, str(error))
    return Read(pull, summary)


def _try(pull: Pull, wanted: Wanted) -> list[Read]:
    try:
        return [read for read, _ in read_one(pull, wanted)]
    except (BreakyardError, OSError) as error:
        return [Read(pull, None, str(error))]


def _make(pulls: Sequence[Pull], wanted: Wanted, step: Callable[[str], None]) -> list[list[Read]]:
    workers = min(os.cpu_count() or 1, len(pulls))
    if len(pulls) < _ENOUGH_FOR_TWO or workers < 2:
        made = []
        for pull in pulls:
            made.append(_try(pull, wanted))
            step(pull.name)
        return made
    with ProcessPoolExecutor(workers) as pool:
        futures: list[Future[list[Read]]] = [pool.submit(_try, pull, wanted) for pull in pulls]
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
        "pull_speed_m_per_s": wanted.pull_speed_m_per_s,
    }


ONE, SEVERAL = "summary", "summaries"
"""Endings of what is kept: of a recording of one pull, and of one of several."""


def _result_name(pull: Pull, ending: str) -> str:
    return f"{pull.path.stem}.{ending}.json"


def _source(pull: Pull, wanted: Wanted) -> dict[str, Any] | None:
    """As `_made_from`; None outside sessions, and where something is missing (which the reading will then say)."""
    if pull.session is None:
        return None
    with suppress(BreakyardError, OSError):
        return _made_from(pull, wanted)
    return None


def _kept(pull: Pull, source: dict[str, Any] | None) -> list[Read] | None:
    """Return the stored summaries of a recording, if they were made from the very same things."""
    from breakyard.pull.results import Summary

    if pull.session is None or source is None:
        return None
    with suppress(BreakyardError, OSError, ValueError, KeyError, TypeError, AttributeError):
        for ending in (ONE, SEVERAL):
            path = pull.session.layout.result_file(_result_name(pull, ending))
            if not path.is_file():
                continue
            document = json.loads(path.read_text(encoding="utf-8"))
            if document.get(MADE_FROM) == source:
                found = [document] if ending == ONE else [one["summary"] for one in document["pulls"]]
                summaries = [Summary.from_json(one) for one in found]
                parts = pull.parts(len(summaries))
                return [Read(part, one, kept=True) for part, one in zip(parts, summaries, strict=True)]
    return None


def _keep(pull: Pull, reads: Sequence[Read], source: dict[str, Any]) -> None:
    from breakyard.formats.write_json import json_text

    assert pull.session is not None
    made = [read.summary.to_json() for read in reads if read.summary is not None]
    document: dict[str, Any] = made[0]
    if len(made) > 1:
        rows = [{"name": read.pull.name, "summary": one} for read, one in zip(reads, made, strict=True)]
        document = {"schema": "breakyard.summaries/1", "pulls": rows}
    ending, other = (ONE, SEVERAL) if len(made) == 1 else (SEVERAL, ONE)
    with suppress(UsageError):  # a name that cannot be a file's: the summary is still shown
        pull.session.write_result(_result_name(pull, ending), json_text(document | {MADE_FROM: source}))
        pull.session.layout.result_file(_result_name(pull, other)).unlink(missing_ok=True)
