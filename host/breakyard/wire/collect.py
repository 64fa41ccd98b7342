"""The records of each run in a file: in order of index, each once, with what is missing named.

Runs are told apart by their number. Two runs of one number (files of two loggers put together) are told apart
where an index comes again with other bytes. A record that comes again with the same bytes is a duplicate.
Records that are not stored (STATUS, COMMAND, ANSWER, LOG) and records of run 0 belong to no run.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.wire.bulk import Decoded, Ints
from breakyard.wire.damage import Damaged
from breakyard.wire.layout import Kind
from breakyard.wire.records import Identity, Mark, PeakWindow, RunBegin, RunEnd, Settings, Unknown

_NOT_STORED: Final = (Kind.STATUS, Kind.COMMAND, Kind.ANSWER, Kind.LOG)


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
    unknown: int
    hash_agrees: bool | None


def collect(decoded: Decoded) -> list[RunRecords]:
    """Sort a decoded file into its runs, in order of first appearance."""
    stored = (decoded.run > 0) & ~np.isin(decoded.kind, _NOT_STORED)
    parts: list[tuple[Ints, int]] = []
    for number in np.unique(decoded.run[stored]).tolist():
        parts += _separate(decoded, np.flatnonzero(stored & (decoded.run == number)))
    parts.sort(key=lambda part: int(part[0].min()))
    owners = _owners(decoded, [positions for positions, _ in parts])
    return [_describe(decoded, *part, damaged) for part, damaged in zip(parts, owners, strict=True)]


def _separate(decoded: Decoded, positions: Ints) -> list[tuple[Ints, int]]:
    """Split records of one number into runs: (positions in order of index, duplicates) of each."""
    index = decoded.index[positions]
    if (np.diff(index) > 0).all():
        return [(positions, 0)]
    found: list[dict[int, int]] = [{}]
    duplicates = [0]
    for position, here in zip(positions.tolist(), index.tolist(), strict=True):
        known = found[-1].get(here)
        if known is None:
            found[-1][here] = position
        elif decoded.raw(known) == decoded.raw(position):
            duplicates[-1] += 1
        else:
            found.append({here: position})
            duplicates.append(0)
    ordered = [np.array([run[i] for i in sorted(run)], dtype=np.int64) for run in found]
    return list(zip(ordered, duplicates, strict=True))


def _owners(decoded: Decoded, runs: list[Ints]) -> list[tuple[Damaged, ...]]:
    """Each damaged stretch belongs to the run of the record before it, the first ones to the first run."""
    owned: list[list[Damaged]] = [[] for _ in runs]
    if not decoded.damaged or not runs:
        return [() for _ in runs]
    owner: NDArray[np.int64] = np.full(len(decoded.begin), -1, dtype=np.int64)
    for number, positions in enumerate(runs):
        owner[positions] = number
    last_owned = np.maximum.accumulate(np.where(owner >= 0, np.arange(len(owner)), -1))
    places = np.searchsorted(decoded.offset, [stretch.offset for stretch in decoded.damaged])
    for stretch, place in zip(decoded.damaged, places.tolist(), strict=True):
        before = int(last_owned[place - 1]) if place else -1
        owned[int(owner[before]) if before >= 0 else 0].append(stretch)
    return [tuple(stretches) for stretches in owned]


def _describe(decoded: Decoded, positions: Ints, duplicates: int, damaged: tuple[Damaged, ...]) -> RunRecords:
    index = decoded.index[positions]
    gone = np.flatnonzero(np.diff(index, prepend=-1) > 1)
    missing = tuple((int(index[i - 1]) + 1 if i else 0, int(index[i]) - 1) for i in gone.tolist())
    here = np.zeros(len(decoded.begin), dtype=np.bool_)
    here[positions] = True
    others = sorted(
        (record for p, record in decoded.others.items() if here[p]), key=lambda record: record.index
    )
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
        unknown=sum(isinstance(record, Unknown) for record in others),
        hash_agrees=agrees,
    )
