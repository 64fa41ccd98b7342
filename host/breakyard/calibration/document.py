"""The calibration as a JSON document, and its content hash.

A document is complete: a program can compute loads and budgets from it without this package. It is written
once; the hash tells whether it was changed.
"""

import json
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from breakyard.calibration.air import Air
from breakyard.calibration.believable import believable
from breakyard.calibration.degree import Suspect
from breakyard.calibration.gravity import Gravity
from breakyard.calibration.plate import Plate
from breakyard.calibration.points import Point
from breakyard.calibration.terms import combine
from breakyard.document import hash_of
from breakyard.errors import DataError

if TYPE_CHECKING:
    from breakyard.calibration.model import Calibration

SCHEMA: Final = "breakyard.calibration/1"
LAW: Final = (
    "force_n = sum of coefficients_n[k] * z**k with z = (counts - centre) / scale; "
    "load_n = force_n(counts) - force_n(zero counts of the pull)"
)
NOT_CONTENT: Final = (
    "hash",
    "derived",
    "file",
    "findings",
    "compared_with",
    "pictures",
    "monte_carlo",
    "loads_understood",
)
"""Beside the content: the hash itself, what follows from the rest, and what a command says about it."""


def write(calibration: "Calibration") -> dict[str, Any]:
    """The content of a calibration as a JSON document, without its hash."""
    gravity, air = calibration.gravity, calibration.air
    # Left out where not known, so that calibrations from before it existed keep their hash.
    warmth = {} if calibration.temperature_c is None else {"temperature_c": calibration.temperature_c}
    apart = {} if calibration.told_apart == 1.0 else {"told_apart": calibration.told_apart}
    return {
        "schema": SCHEMA,
        "name": calibration.name,
        "created": calibration.created,
        "gain": calibration.gain,
        "highest_known_n": calibration.highest_known_n,
        "fit": {
            "law": LAW,
            "degree": calibration.degree,
            "centre": calibration.centre,
            "scale": calibration.scale,
            "coefficients_n": list(calibration.coefficients),
            "covariance_n2": [list(row) for row in calibration.covariance],
            "residuals_n": list(calibration.residuals_n),
            "variances_n2": list(calibration.variances_n2),
            "between_n": calibration.between_n,
            "degrees_of_freedom": calibration.degrees_of_freedom,
            "curvature": [list(row) for row in calibration.curvature],
        },
        "effects": [{"source": source, "shift_n": list(shift)} for source, shift in calibration.effects],
        "points": [point.to_json() for point in calibration.points],
        "gravity": {name: getattr(gravity, name) for name in Gravity.__dataclass_fields__},
        "air": {name: getattr(air, name) for name in Air.__dataclass_fields__},
        "plate": calibration.plate.to_json() if calibration.plate else None,
        "temperature_range_c": calibration.temperature_range_c,
        **warmth,
        **apart,
        "flags": list(calibration.flags),
        "sentences": list(calibration.sentences),
        "suspects": [{"points": list(s.points), "off_n": s.off_n, "t": s.t} for s in calibration.suspects],
        "provenance": dict(calibration.provenance),
    }


def derived(calibration: "Calibration") -> dict[str, Any]:
    """What follows from the rest, in plain terms."""
    loads = [calibration.highest_known_n] + ([calibration.plate.capacity_n] if calibration.plate else [])
    return {
        "slope_n_per_count": float(calibration.slope_n_per_count(calibration.zero_counts)),
        "zero_counts": calibration.zero_counts,
        "budgets": [
            {
                "load_n": load,
                "extrapolation": calibration.extrapolation(load),
                "standard_n": combine(terms).standard_n,
                "terms": [term.to_json() for term in terms],
            }
            for load in loads
            if calibration.reaches(load)
            and math.isfinite(calibration.counts_at(load, calibration.zero_counts))
            for terms in [calibration.budget(load)]
        ],
        "quality": calibration.quality().to_json(),
    }


def read(document: Mapping[str, Any] | str) -> dict[str, Any]:
    """The fields of a calibration, from its JSON text or the parsed document.

    Raises: DataError if it is no calibration, or was changed after it was made.
    """
    if isinstance(document, str):
        try:
            document = json.loads(document)
        except (ValueError, RecursionError):
            raise DataError("this calibration is not JSON: choose a file from calibrations/") from None
    if not isinstance(document, Mapping) or document.get("schema") != SCHEMA:
        found = document.get("schema") if isinstance(document, Mapping) else None
        raise DataError(f'this is no calibration: its "schema" is {found!r}, expected "{SCHEMA}"')
    stated = document.get("hash")
    content = {key: value for key, value in document.items() if key not in NOT_CONTENT}
    try:
        agrees = stated == hash_of(content)
    except (ValueError, OverflowError) as error:
        raise DataError(f"this calibration holds a number that JSON does not know ({error})") from error
    except RecursionError:
        raise DataError("this is no calibration: it is too deeply nested") from None
    if not agrees:
        raise DataError(
            "this calibration was changed after it was made (its hash disagrees): calibrate again"
        )
    try:
        fields = _fields(content)
        believable(fields)
    except DataError:
        raise
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError) as error:
        raise DataError(f"this calibration cannot be read ({error}): calibrate again") from error
    return fields


def _fields(document: Mapping[str, Any]) -> dict[str, Any]:
    fit = document["fit"]
    square, cube = fit["curvature"]
    return {
        "name": document["name"],
        "created": document["created"],
        "points": tuple(Point.from_json(point) for point in document["points"]),
        "gravity": Gravity(**document["gravity"]),
        "air": Air(**document["air"]),
        "plate": Plate.from_json(document["plate"]) if document["plate"] else None,
        "gain": document["gain"],
        "centre": float(fit["centre"]),
        "scale": float(fit["scale"]),
        "coefficients": tuple(map(float, fit["coefficients_n"])),
        "covariance": tuple(tuple(map(float, row)) for row in fit["covariance_n2"]),
        "effects": tuple(
            (str(item["source"]), tuple(map(float, item["shift_n"]))) for item in document["effects"]
        ),
        "curvature": (tuple(map(float, square)), tuple(map(float, cube))),
        "residuals_n": tuple(map(float, fit["residuals_n"])),
        "variances_n2": tuple(map(float, fit["variances_n2"])),
        "between_n": float(fit["between_n"]),
        "degrees_of_freedom": int(fit["degrees_of_freedom"]),
        "highest_known_n": float(document["highest_known_n"]),
        "flags": tuple(document["flags"]),
        "sentences": tuple(document["sentences"]),
        "suspects": tuple(
            Suspect(tuple(map(int, s["points"])), float(s["off_n"]), float(s["t"]))
            for s in document["suspects"]
        ),
        "provenance": tuple((str(key), str(value)) for key, value in document["provenance"].items()),
        "temperature_range_c": float(document["temperature_range_c"]),
        "told_apart": float(document.get("told_apart", 1.0)),
        "temperature_c": None if "temperature_c" not in document else float(document["temperature_c"]),
    }
