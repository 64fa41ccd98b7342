"""Pulls -> summaries; what a session has kept of an earlier reading is not computed twice."""

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any, Final

from breakyard.curve import LoadCurve
from breakyard.errors import BreakyardError, DataError
from breakyard.pull.in_use import InUse
from breakyard.pull.results import Summary
from breakyard.session import kept
from breakyard.session.conditions import with_conditions
from breakyard.session.in_use import in_use_of
from breakyard.session.options import ReadOptions
from breakyard.session.pulls import Pull
from breakyard.session.recordings import load_curve

_ENOUGH_FOR_TWO: Final = 12
"""Pulls from which a second process earns its start (about a second for numpy and scipy)."""


_MOST: Final = 61
"""Windows waits for no more processes at once (concurrent.futures.ProcessPoolExecutor, "max_workers")."""


@dataclass(frozen=True, slots=True, repr=False)
class PullResult:
    """A pull with its summary, or with the reason why there is none."""

    pull: Pull
    summary: Summary | None
    problem: str = ""
    kept: bool = False
    """True if the summary was taken from the session's results."""
    not_kept: str = ""
    """Why the summary could not be written into the session's results."""

    def __repr__(self) -> str:
        said = self.problem if self.summary is None else self.summary.text()
        return f"PullResult {self.pull.name!r}: {said}"

    @property
    def label(self) -> str:
        """What people call it: the specimen, else the recording."""
        return self.pull.specimen or self.pull.name

    def described(self) -> dict[str, Any]:
        """What is known of the pull, its summary, and what went wrong."""
        return self.pull.described() | {
            "summary": None if self.summary is None else self.summary.to_json(),
            "problem": self.problem or None,
        }


def not_kept(results: Sequence[PullResult]) -> tuple[str, ...]:
    """Why summaries could not be kept, each reason once: a medium that takes no writing gives one for every pull."""
    reasons = {_reason(result.not_kept): result.not_kept for result in reversed(results) if result.not_kept}
    return tuple(reversed(reasons.values()))


def _reason(message: str) -> str:
    return message.rpartition(": ")[2]


def _ignore(name: str) -> None:
    pass


def read_pulls(
    pulls: Sequence[Pull],
    options: ReadOptions,
    step: Callable[[str], None] = _ignore,
    *,
    processes: int | None = 1,
) -> tuple[PullResult, ...]:
    """Summarize pulls in their order; one that cannot be read does not stop the others.

    A recording of several pulls gives one result for each, "NAME#1", "NAME#2" and so on. Results of pulls in a session
    are written to its results/ folder. `step` is called with each finished recording's name. `processes`: how many may
    work at once; None: as many as the computer has, where that pays (a script then needs the usual guard
    `if __name__ == "__main__"` on systems that start processes afresh).
    """
    sources = [kept.made_from(pull, options) for pull in pulls]
    have = [kept.find_kept(pull, source) for pull, source in zip(pulls, sources, strict=True)]
    left = [pull for pull, known in zip(pulls, have, strict=True) if known is None]
    made = iter(_make(left, options, step, processes))
    found: list[PullResult] = []
    for pull, source, known in zip(pulls, sources, have, strict=True):
        if known is not None:
            step(pull.name)
            found += [PullResult(part, summary, kept=True) for part, summary in known]
            continue
        results = next(made)
        if source is not None and all(result.summary is not None for result in results):
            pairs = [(result.pull, result.summary) for result in results if result.summary is not None]
            try:
                kept.keep(pull, pairs, source)
            except DataError as error:  # it can be read again; what was read is shown all the same
                results = [replace(result, not_kept=str(error)) for result in results]
        found += results
    return tuple(found)


def read_one(pull: Pull, options: ReadOptions) -> tuple[tuple[PullResult, LoadCurve], ...]:
    """Summarize each pull of one recording; with the curves. Raises: BreakyardError."""
    curves = curves_of(pull, options)
    parts = pull.parts(len(curves))
    return tuple(
        (_read(part, own, options, alone=len(curves) == 1), own)
        for part, own in zip(parts, curves, strict=True)
    )


def curves_of(pull: Pull, options: ReadOptions) -> tuple[LoadCurve, ...]:
    """The load curve of each pull of one recording. Raises: BreakyardError."""
    from breakyard.pull.split import CYCLES, split_pulls

    curve = load_curve(
        pull,
        options.calibration,
        accuracy_percent=options.accuracy_percent,
        response=options.response,
    )
    if options.one_specimen:
        curve = replace(curve, one_specimen=True)
    curves = split_pulls(curve)
    if len(curves) > 1 and pull.named and not pull.listed and CYCLES in curves[0].flags:
        curves = (
            replace(curve, one_specimen=True),
        )  # one specimen is named, and nothing broke before the end
    return curves


def summary_of(
    pull: Pull,
    curve: LoadCurve,
    options: ReadOptions,
    *,
    in_use: InUse | None = None,
    filter_order: int | None = None,
) -> Summary:
    """Summarize one of a recording's curves, with the conditions that people wrote of it, and what its session knows.

    in_use: of the cell, instead of what the session knows. filter_order: as `pull.summarize` takes it.
    Raises: BreakyardError.
    """
    from breakyard.pull.summarize import summarize

    options = with_conditions(options, pull)
    return summarize(
        curve,
        coverage=options.coverage,
        misalignment_deg=options.misalignment_deg,
        temperature_c=options.temperature_c,
        pull_speed_m_per_s=options.pull_speed_m_per_s,
        in_use=in_use_of(pull, curve.calibration) if in_use is None else in_use,
        filter_order=filter_order,
    )


def _read(pull: Pull, curve: LoadCurve, options: ReadOptions, *, alone: bool) -> PullResult:
    try:
        summary = summary_of(pull, curve, options)
    except BreakyardError as error:
        if alone:
            raise
        return PullResult(pull, None, str(error))
    except Exception as error:  # a defect of ours is this pull's row, and no reason to lose the others
        return PullResult(pull, None, _defect(pull, error))
    return PullResult(pull, summary)


def _defect(pull: Pull, error: Exception) -> str:
    return (
        f"{pull.name}: an error of this program ({type(error).__name__}: {error}); the recording is kept as it is: "
        "please report it with this line"
    )


def _try(pull: Pull, options: ReadOptions) -> list[PullResult]:
    try:
        return [result for result, _ in read_one(pull, options)]
    except (BreakyardError, OSError) as error:
        return [PullResult(pull, None, str(error))]
    except Exception as error:
        return [PullResult(pull, None, _defect(pull, error))]


def _try_afar(pull: Pull, options: ReadOptions) -> list[PullResult]:
    """The same in another process, without the curves, which are long to send."""
    return [
        result if result.summary is None else replace(result, summary=replace(result.summary, curve=None))
        for result in _try(pull, options)
    ]


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """Processes that leave Ctrl-C to this one, which then waits for what they have begun and for no more."""
    pool = ProcessPoolExecutor(workers, initializer=_leave_ctrl_c)
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def _leave_ctrl_c() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _make(
    pulls: Sequence[Pull], options: ReadOptions, step: Callable[[str], None], processes: int | None
) -> list[list[PullResult]]:
    workers = min(processes or os.cpu_count() or 1, len(pulls), _MOST)
    if len(pulls) < _ENOUGH_FOR_TWO or workers < 2:
        made = []
        for pull in pulls:
            made.append(_try(pull, options))
            step(pull.name)
        return made
    with _pool(workers) as pool:
        futures: list[Future[list[PullResult]]] = [pool.submit(_try_afar, pull, options) for pull in pulls]
        results = []
        for pull, future in zip(pulls, futures, strict=True):
            results.append(future.result())
            step(pull.name)
        return results
