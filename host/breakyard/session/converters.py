"""The converter that made imported counts, as a person names it: an HX711 with its gain, or another by its parts."""

import re
from typing import TYPE_CHECKING, Final

from breakyard.errors import DataError, UsageError
from breakyard.run import Converter

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

UNKNOWN: Final = "unknown"

GAINS_BY_NAME: Final = {"hx711-128": 128, "hx711-64": 64, "hx711-32": 32}

HOW: Final = (
    'say hx711-128, hx711-64 or hx711-32 (with its gain), "unknown", or bits, full scale and filter, as '
    '"24 bits, 20 mV/V, sinc 3", "16 bits, no filter", "500000 counts, filter unknown"'
)

_BITS = re.compile(r"(\d+)[ -]?bits?( unsigned)?")
_MV_V = re.compile(r"(?:\+-\s*)?(\d+(?:[.,]\d+)?)\s*mv/v")
_COUNTS = re.compile(r"(?:\+-\s*)?(\d+)\s*counts?")
_FILTER = re.compile(r"no filter|filter none|none|filter unknown|unknown|sinc[ -]?([1-5])")


def parse_converter(text: str) -> Converter | None:
    """A converter from its name or its parts; None for "unknown": then it is judged, where that is sure.

    Counts reach from -2^(bits-1) to 2^(bits-1) - 1, unsigned ones from 0 to 2^bits - 1; a full scale in counts is its
    limit either way, and comes before the bits. A filter that is not told is not known.
    Raises: UsageError, with what may be said.
    """
    said = " ".join(text.strip().lower().split())
    if said == UNKNOWN:
        return None
    if said in GAINS_BY_NAME:
        return Converter(GAINS_BY_NAME[said])
    bits = limit = scale = None
    unsigned, order, known = False, None, False
    for part in (piece.strip() for piece in re.split(r";|,(?!\d)|(?<!\d),", said)):
        if found := _BITS.fullmatch(part):
            bits, unsigned = int(found[1]), found[2] is not None
        elif found := _COUNTS.fullmatch(part):
            limit = int(found[1])
        elif found := _MV_V.fullmatch(part):
            scale = float(found[1].replace(",", "."))
        elif found := _FILTER.fullmatch(part):
            known = "unknown" not in part
            order = (int(found[1]) if found[1] else 0) if known else None
        else:
            raise UsageError(f'a converter "{text}": "{part}" is not understood; {HOW}')
    if bits is None and limit is None:
        raise UsageError(f'a converter "{text}": its bits, or its full scale in counts, are missing; {HOW}')
    if bits is not None and not 8 <= bits <= 32 - unsigned:
        raise UsageError(f'a converter "{text}": {bits} bits are not sensible; {HOW}')
    if (
        not 100 <= (100 if limit is None else limit) < 2**31
        or not 0.0 < (1.0 if scale is None else scale) <= 1e4
    ):
        raise UsageError(f'a converter "{text}": this full scale is not sensible; {HOW}')
    top = limit if limit is not None else 2 ** ((bits or 0) - (not unsigned)) - 1
    low = 0 if unsigned else -top - (limit is None)
    return Converter(
        None, lowest=low, highest=top, filter_order=order, filter_known=known, full_scale_mv_v=scale
    )


def check_counts(converter: Converter | None, counts: "NDArray[np.int32]", where: str) -> None:
    """Refuse counts that another converter must have made. Raises: DataError."""
    if converter is None or converter.gain is not None or not len(counts):
        return
    low, high = int(counts.min()), int(counts.max())
    if low < converter.lowest or high > converter.highest:
        raise DataError(
            f"{where}: counts from {low} to {high} do not fit the converter that is stated, which counts from "
            f"{converter.lowest} to {converter.highest}; state another (--converter)"
        )


def in_words(converter: Converter) -> str:
    """What is known of it: its limits and its filter."""
    if converter.gain is not None:
        return f"HX711, gain {converter.gain}"
    scale = "" if converter.full_scale_mv_v is None else f" (+-{converter.full_scale_mv_v:g} mV/V)"
    if not converter.filter_known:
        of_filter = "filter not known"
    else:
        of_filter = "no filter" if not converter.filter_order else f"filter sinc {converter.filter_order}"
    return f"counts from {converter.lowest} to {converter.highest}{scale}, {of_filter}"
