"""The latest self-test of each logger at each of the converter's two rates, kept beside the keys."""

import json
from pathlib import Path
from typing import Any, Final

from breakyard.device.keys import keys_file
from breakyard.errors import DataError

RATES: Final = ("fast", "slow")


def results_file() -> Path:
    """Where the latest results are kept, beside the keys."""
    return keys_file().with_name("selftests.json")


def keep(document: dict[str, Any]) -> dict[str, Any]:
    """Keep a test under its rate; the latest of both rates of this logger, None where there is none.

    Raises: DataError if the file cannot be read or written.
    """
    from breakyard.disk.alone import alone_with
    from breakyard.disk.atomic import write_atomically

    with alone_with(results_file()):
        kept = _kept()
        mine = kept.setdefault(document["serial"], {})
        shunt = _shunt_of(document)
        if shunt is not None:
            mine["shunt"] = shunt
        if document["rate"] is not None:
            mine[document["rate"]] = document
        if document["rate"] is not None or shunt is not None:
            write_atomically(results_file(), json.dumps(kept, indent=1).encode())
    return {rate: mine.get(rate) for rate in RATES}


def shunt_moved(document: dict[str, Any]) -> dict[str, Any] | None:
    """How far this test's shunt is from the one kept, as `percent` and its `time`; None without two of a kind.

    Raises: DataError if the file cannot be read.
    """
    now, then = _shunt_of(document), _kept().get(document["serial"], {}).get("shunt")
    if now is None or then is None or now["expected_counts"] != then["expected_counts"]:
        return None
    return {
        "percent": 100.0 * (abs(now["shunt_counts"]) / abs(then["shunt_counts"]) - 1.0),
        "time": then["time"],
    }


def _shunt_of(document: dict[str, Any]) -> dict[str, Any] | None:
    """What is kept of a shunt that passed."""
    for check in document.get("checks", ()):
        if check["check"] == "shunt" and check["verdict"] == "passed":
            return {name: check[name] for name in ("shunt_counts", "expected_counts")} | {
                "time": document["time"]
            }
    return None


def _kept() -> dict[str, Any]:
    path = results_file()
    try:
        kept: dict[str, Any] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    except (OSError, ValueError, RecursionError) as error:
        raise DataError(
            f"{path}: cannot be read ({error}); remove it, only older self-tests are in it"
        ) from error
    return kept
