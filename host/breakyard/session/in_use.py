"""What is known of a session's cell in use: by remounts and a long hold, and blocks that its rig tells of."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from breakyard.calibration import Calibration
from breakyard.document import hash_of
from breakyard.plan.between import blocks_between
from breakyard.pull.in_use import Block, InUse
from breakyard.session.files.in_use import find_in_use, read_in_use, visible
from breakyard.session.pulls import Pull


def in_use_of(pull: Pull, calibration: Calibration | None) -> InUse:
    """Raises: DataError, UsageError for a damaged document or a rig that cannot be."""
    blocks = _blocks(pull)
    if calibration is None:
        return InUse(blocks=blocks)
    logger = dict(calibration.provenance).get("logger", "")
    known = find_in_use(_home(pull), logger)
    held = known.get("hold")
    standard, freedom = _mounted(known)
    return InUse(
        remount=standard,
        remount_freedom=freedom,
        creep=None if held is None else float(held["share"]),
        blocks=blocks,
    )


def mounted(home: Path, logger: str) -> tuple[float | None, float]:
    """How a logger's cell scatters from mounting to mounting, with degrees of freedom; None where nobody measured it.

    Raises: DataError for a damaged document.
    """
    return _mounted(find_in_use(home, logger))


def _mounted(known: Mapping[str, Any]) -> tuple[float | None, float]:
    remount = known.get("remount")
    return (None, math.inf) if remount is None else (float(remount["standard"]), float(remount["freedom"]))


def fingerprint(pull: Pull) -> str:
    """Changes when anything changes that `in_use_of` may look at. Raises: DataError."""
    rig = _rig(pull)
    return hash_of(
        {
            "rig": str(rig),
            "known": {str(at): read_in_use(path) for at, path in enumerate(visible(_home(pull)))},
        }
    )


def _blocks(pull: Pull) -> tuple[Block, ...]:
    where = "session.toml" if pull.session is None else str(pull.session.layout.session_file)
    return tuple(Block(*one) for one in blocks_between(_rig(pull), where=where))


def _rig(pull: Pull) -> Mapping[str, Any]:
    rig = {} if pull.session is None else pull.session.info.rig
    return {} if isinstance(rig, str) else rig


def _home(pull: Pull) -> Path:
    return pull.path.parent if pull.session is None else pull.session.root
