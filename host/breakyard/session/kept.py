"""The session's results of earlier readings, and whether they may still stand.

A kept result names everything that it was made from. One that was made from anything else (another calibration, other
notes, another version of this program) is made again.
"""

import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from breakyard.document import hash_of, sha256_of, to_plain
from breakyard.errors import BreakyardError, UsageError
from breakyard.formats.write_json import json_text
from breakyard.pull.results import Summary
from breakyard.session.conditions import with_conditions
from breakyard.session.files.layout import PART
from breakyard.session.in_force import hashes_of_responses, load_calibration
from breakyard.session.in_use import fingerprint
from breakyard.session.options import ReadOptions
from breakyard.session.pulls import Pull
from breakyard.session.recordings import line_of, said_of
from breakyard.version import VERSION

if TYPE_CHECKING:
    from breakyard.comparison import Compared, Comparison, Observation
    from breakyard.session.session import Session

MADE_FROM: Final = "made_from"
"""Key beside a kept summary: what it was computed from."""

ONE, SEVERAL = "summary", "summaries"
"""Endings of what is kept: of a recording of one pull, and of one of several."""

COMPARISON: Final = "comparison.json"
"""The last comparison of a session's groups."""


def made_from(pull: Pull, options: ReadOptions) -> dict[str, Any] | None:
    """Everything that the summaries of a recording depend on.

    None outside sessions, for a run that is not here as a whole, and where something is missing (the reading will then
    say what).
    """
    if pull.session is None or pull.path.suffix.lower() == PART or pull.problem:
        return None
    with suppress(BreakyardError, OSError):
        notes = pull.path.with_suffix(".toml")
        raw = pull.path.suffix.lower() == ".run"
        return {
            "version": VERSION,
            "recording": sha256_of(pull.path.read_bytes()),
            "said": said_of(pull),
            "named": pull.named,
            "line": [_line(part) for part in _parts(pull)],
            "series": pull.session.notes(pull.path.stem).more.get("series"),
            "notes": sha256_of(notes.read_bytes()) if notes.exists() and not raw else "",
            "calibration": _calibration_hash(pull, options, needed=raw),
            "accuracy_percent": options.accuracy_percent,
            "coverage": options.coverage,
            "conditions": [_conditions(part, options) for part in _parts(pull)],
            "responses": hashes_of_responses(pull, options.response),
            "in_use": fingerprint(pull),
            "one_specimen": options.one_specimen,
        }
    return None


def _parts(pull: Pull) -> list[Pull]:
    """The pull itself, and each that its notes list: their rows in the table of specimens may differ."""
    return [pull, *(replace(pull, row=listed.row) for listed in pull.listed)]


def _line(pull: Pull) -> list[float] | None:
    line = line_of(pull)
    return None if line is None else [line.factor, line.relative]


def _conditions(pull: Pull, options: ReadOptions) -> dict[str, float | None]:
    known = with_conditions(options, pull)
    return {
        "misalignment_deg": known.misalignment_deg,
        "temperature_c": known.temperature_c,
        "pull_speed_m_per_s": known.pull_speed_m_per_s,
    }


def _calibration_hash(pull: Pull, options: ReadOptions, *, needed: bool) -> str:
    """The content hash of the calibration in force; "" where there is none and the recording may do without.

    Whether another instrument's table holds loads or counts is not looked into here: where a calibration is in force,
    it counts.
    """
    try:
        return load_calibration(options.calibration, pull.session, pull.name).content_hash
    except BreakyardError:
        if needed:
            raise
        return ""


def find_kept(pull: Pull, source: dict[str, Any] | None) -> "list[tuple[Pull, Summary]] | None":
    """The kept summaries of a recording, if they were made from the very same things; else None."""
    if pull.session is None or source is None:
        return None
    with suppress(BreakyardError, OSError, ValueError, KeyError, TypeError, AttributeError):
        for ending in (ONE, SEVERAL):
            path = pull.session.layout.result_file(_file_name(pull, ending))
            if not path.is_file():
                continue
            document = json.loads(path.read_text(encoding="utf-8"))
            if document.get(MADE_FROM) == source:
                found = [document] if ending == ONE else [row["summary"] for row in document["pulls"]]
                summaries = [Summary.from_json(row) for row in found]
                return list(zip(pull.parts(len(summaries)), summaries, strict=True))
    return None


def keep(pull: Pull, made: Sequence[tuple[Pull, Summary]], source: dict[str, Any]) -> None:
    """Keep the summaries of a recording in its session's results. Raises: DataError if the disk refuses."""
    session = pull.session
    assert session is not None
    rows = [{"name": part.name, "summary": summary.to_json()} for part, summary in made]
    document: dict[str, Any] = {"schema": "breakyard.summaries/1", "pulls": rows}
    if len(made) == 1:
        document = made[0][1].to_json()
    ending, other = (ONE, SEVERAL) if len(made) == 1 else (SEVERAL, ONE)
    with suppress(UsageError):  # a name that cannot be a file's: the summary is still shown
        session.write_result(_file_name(pull, ending), json_text(document | {MADE_FROM: source}))
        Path(session.layout.result_file(_file_name(pull, other))).unlink(missing_ok=True)


def _file_name(pull: Pull, ending: str) -> str:
    return f"{pull.path.stem}.{ending}.json"


def compared_from(
    observations: "Sequence[Observation]", left_out: Sequence[str], quantity: "Compared", **asked: object
) -> str:
    """Changes when anything changes that a comparison depends on: it knows no more than its observations."""
    return hash_of(
        {
            "version": VERSION,
            "observations": to_plain(observations),
            "left_out": list(left_out),
            "quantity": to_plain(quantity),
            "asked": asked,
        }
    )


def find_comparison(session: "Session", source: str) -> "Comparison | None":
    """The kept comparison, if it was made from the very same things; else None."""
    from breakyard.comparison import Comparison

    with suppress(BreakyardError, OSError, ValueError, AttributeError, RecursionError):
        path = session.layout.result_file(COMPARISON)
        document = json.loads(path.read_text(encoding="utf-8"))
        if document.get(MADE_FROM) == source:
            return Comparison.from_json(document)
    return None


def keep_comparison(session: "Session", made: "Comparison", source: str) -> None:
    """Keep the comparison in its session's results. Raises: DataError if the disk refuses."""
    session.write_result(COMPARISON, json_text(made.to_json() | {MADE_FROM: source}))
