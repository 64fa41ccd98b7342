"""The records of each run in a file: in order of index, each once, with what is missing named.

Runs are told apart by their number. Two runs of one number (files of two loggers put together) are told apart
where an index comes again with other bytes. A record that comes again with the same bytes is a duplicate.
Records of kinds that are not stored and records of run 0 belong to no run.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from breakyard.wire.bulk import Decoded, Ints
from breakyard.wire.damage import Damaged
from breakyard.wire.layout import Kind
from breakyard.wire.records import (
    Identity,
    Mark,
    Means,
    PeakWindow,
    Record,
    RunBegin,
    RunEnd,
    Settings,
    Unknown,
)

_NOT_STORED: Final = (
    Kind.STATUS,
    Kind.COMMAND,
    Kind.ANSWER,
    Kind.LOG,
    Kind.CALIBRATION,
    Kind.RECEIPT,
    Kind.FILE,
)

MAX_RUNS: Final = 1024
"""Runs that are read of one file; those after them are left out."""


@dataclass(frozen=True, slots=True)
class RunRecords:
    """What a file holds of one run. `positions` (m,) point into the decoded file, in order of index.

    `missing` are closed ranges of indices below the highest one present. `hash_agrees` is None when there is
    nothing to compare: no RUN_END. `duplicates` counts records left out because they came before.
    """

    number: int
    positions: Ints
    missing: tuple[tuple[int, int], ...]
    duplicates: int
    damaged: tuple[Damaged, ...]
    identity: Identity | None
    settings: Settings | None
    begin: RunBegin | None
    end: RunEnd | None
    marks: tuple[Mark, ...]
    windows: tuple[PeakWindow, ...]
    means: tuple[Means, ...]
    unknown: int
    hash_agrees: bool | None


@dataclass(frozen=True, slots=True)
class Collected:
    """The runs of a file in order of first appearance, and how many numbers of runs were left out at least."""

    runs: list[RunRecords]
    left_out: int


def collect(decoded: Decoded) -> Collected:
    """Sort a decoded file into its runs."""
    stored = np.flatnonzero((decoded.run > 0) & ~np.isin(decoded.kind, _NOT_STORED))
    order = stored[np.argsort(decoded.run[stored], kind="stable")]
    edges = np.flatnonzero(np.diff(decoded.run[order], prepend=-1))
    groups = sorted(np.split(order, edges[1:]), key=lambda group: int(group[0])) if len(order) else []
    left_out = max(0, len(groups) - MAX_RUNS)
    parts: list[tuple[Ints, int]] = []
    for group in groups[:MAX_RUNS]:
        found, more = _separate(decoded, group)
        parts += found
        left_out += more
    parts.sort(key=lambda part: int(part[0].min()))
    left_out += max(0, len(parts) - MAX_RUNS)
    del parts[MAX_RUNS:]

    positions = [part for part, _ in parts]
    owner = np.full(len(decoded.begin), -1, dtype=np.int64)
    for number, part in enumerate(positions):
        owner[part] = number
    others: list[list[Record]] = [[] for _ in parts]
    for position, record in decoded.others.items():
        if owner[position] >= 0:
            others[owner[position]].append(record)
    damaged = _damage_of(decoded, owner, len(parts))
    runs = [
        _describe(decoded, *part, *rest)
        for part, rest in zip(parts, zip(damaged, others, strict=True), strict=True)
    ]
    return Collected(runs, left_out)


def _separate(decoded: Decoded, positions: Ints) -> tuple[list[tuple[Ints, int]], int]:
    """Split records of one number into runs: (positions in order of index, duplicates) of each, up to MAX_RUNS.

    Also tells whether more were left out (1, else 0).
    """
    index = decoded.index[positions]
    if (np.diff(index) > 0).all():
        return [(positions, 0)], 0
    order = np.argsort(index, kind="stable")
    if (np.diff(index[order]) > 0).all():
        return [(positions[order], 0)], 0
    found: list[dict[int, int]] = [{}]
    duplicates = [0]
    view = memoryview(decoded.unstuffed)
    begins = decoded.begin[positions].tolist()
    ends = (decoded.begin[positions] + decoded.size[positions]).tolist()
    left_out = 0
    for place, here in enumerate(index.tolist()):
        known = found[-1].setdefault(here, place)
        if known == place:
            continue
        if view[begins[known] : ends[known]] == view[begins[place] : ends[place]]:
            duplicates[-1] += 1
        elif len(found) == MAX_RUNS:
            left_out = 1
            break
        else:
            found.append({here: place})
            duplicates.append(0)
    ordered = [positions[[run[i] for i in sorted(run)]] for run in found]
    return list(zip(ordered, duplicates, strict=True)), left_out


def _damage_of(decoded: Decoded, owner: Ints, runs: int) -> list[tuple[Damaged, ...]]:
    """Each damaged stretch belongs to the run of the record before it, the first ones to the first run."""
    owned: list[list[Damaged]] = [[] for _ in range(runs)]
    if not decoded.damaged or not runs:
        return [() for _ in owned]
    last_owned = np.maximum.accumulate(np.where(owner >= 0, np.arange(len(owner)), -1))
    places = np.searchsorted(decoded.offset, [stretch.offset for stretch in decoded.damaged])
    for stretch, place in zip(decoded.damaged, places.tolist(), strict=True):
        before = int(last_owned[place - 1]) if place else -1
        owned[int(owner[before]) if before >= 0 else 0].append(stretch)
    return [tuple(stretches) for stretches in owned]


def _describe(
    decoded: Decoded,
    positions: Ints,
    duplicates: int,
    damaged: tuple[Damaged, ...],
    others: list[Record],
) -> RunRecords:
    index = decoded.index[positions]
    gone = np.flatnonzero(np.diff(index, prepend=-1) > 1)
    missing = tuple((int(index[i - 1]) + 1 if i else 0, int(index[i]) - 1) for i in gone.tolist())
    others.sort(key=lambda record: record.index)
    ends = [record for record in others if isinstance(record, RunEnd)]
    end = ends[-1] if ends else None
    agrees = None
    if end is not None:
        agrees = not missing and int(index[-1]) == end.index and decoded.sha256(positions[:-1]) == end.sha256
    return RunRecords(
        number=int(decoded.run[positions[0]]),
        positions=positions,
        missing=missing,
        duplicates=duplicates,
        damaged=damaged,
        identity=next((record for record in others if isinstance(record, Identity)), None),
        settings=next((record for record in others if isinstance(record, Settings)), None),
        begin=next((record for record in others if isinstance(record, RunBegin)), None),
        end=end,
        marks=tuple(record for record in others if isinstance(record, Mark)),
        windows=tuple(record for record in others if isinstance(record, PeakWindow)),
        means=tuple(record for record in others if isinstance(record, Means)),
        unknown=sum(isinstance(record, Unknown) for record in others),
        hash_agrees=agrees,
    )
