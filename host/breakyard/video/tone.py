"""HDR -> SDR: a table of colours for FFmpeg's lut3d, made from the published formulas.

HLG and PQ: ITU-R BT.2100-2, tables 4 and 5. HLG's display light is that of a display of 1000 cd/m2 (system gamma 1.2).
Tone mapping: the EETF of ITU-R BT.2390-10, 5.4.1, applied to the largest of R, G, B so that hues stay, onto a peak of
203 cd/m2, which is HDR's reference white (ITU-R BT.2408-7, 2.2). Colours: BT.2020 to BT.709 by ITU-R BT.2087-0,
annex 2. SDR's signal is the inverse of BT.1886 with black at 0: the 2.4th root.
"""

from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

PEAK_CD_M2: Final = 1000.0
"""Brightest light that is kept apart: HLG's nominal peak, and the usual one of graded PQ."""
WHITE_CD_M2: Final = 203.0
SIDE: Final = 33
"""Points of the table along each colour."""

_M1, _M2 = 2610 / 16384, 2523 / 4096 * 128
_C1, _C2, _C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
_A, _B, _C = 0.17883277, 0.28466892, 0.55991073

BT2020_TO_BT709: Final = np.array(
    [[1.6605, -0.5876, -0.0728], [-0.1246, 1.1329, -0.0083], [-0.0182, -0.1006, 1.1187]]
)
BT2020_LUMINANCE: Final = np.array([0.2627, 0.6780, 0.0593])


def pq_light(signal: Floats) -> Floats:
    """PQ's EOTF: cd/m2 of a signal from 0 to 1."""
    root = np.clip(signal, 0.0, 1.0) ** (1.0 / _M2)
    light: Floats = 10_000.0 * (np.maximum(root - _C1, 0.0) / (_C2 - _C3 * root)) ** (1.0 / _M1)
    return light


def pq_signal(light: Floats) -> Floats:
    """The inverse: the signal of cd/m2."""
    power = (np.maximum(light, 0.0) / 10_000.0) ** _M1
    signal: Floats = ((_C1 + _C2 * power) / (1.0 + _C3 * power)) ** _M2
    return signal


def hlg_light(signal: Floats) -> Floats:
    """Display light in cd/m2 of HLG signals (..., 3): the inverse OETF, then the OOTF of a 1000 cd/m2 display."""
    signal = np.clip(signal, 0.0, 1.0)
    scene = np.where(signal <= 0.5, signal**2 / 3.0, (np.exp((signal - _C) / _A) + _B) / 12.0)
    luminance = scene @ BT2020_LUMINANCE
    light: Floats = PEAK_CD_M2 * np.maximum(luminance, 1e-9)[..., None] ** 0.2 * scene
    return light


def compressed(light: Floats) -> Floats:
    """The EETF: light up to PEAK_CD_M2 brought below WHITE_CD_M2; dark and middle tones stay as they are."""
    top = float(pq_signal(np.array(PEAK_CD_M2)))
    most = float(pq_signal(np.array(WHITE_CD_M2))) / top
    knee = 1.5 * most - 0.5
    signal = np.minimum(pq_signal(light) / top, 1.0)
    t = np.clip((signal - knee) / (1.0 - knee), 0.0, 1.0)
    spline = (
        (2 * t**3 - 3 * t**2 + 1) * knee + (t**3 - 2 * t**2 + t) * (1 - knee) + (-2 * t**3 + 3 * t**2) * most
    )
    return pq_light(np.where(signal < knee, signal, spline) * top)


def sdr_signal(signal: Floats, transfer: Literal["hlg", "pq"]) -> Floats:
    """BT.709 signals (..., 3), 0 to 1, of HDR signals (..., 3) with BT.2020's colours."""
    light = hlg_light(signal) if transfer == "hlg" else np.minimum(pq_light(signal), PEAK_CD_M2)
    largest = np.maximum(light.max(axis=-1, keepdims=True), 1e-6)
    mapped = light * compressed(largest) / largest / WHITE_CD_M2
    signals: Floats = np.clip(mapped @ BT2020_TO_BT709.T, 0.0, 1.0) ** (1.0 / 2.4)
    return signals


def cube_text(transfer: Literal["hlg", "pq"]) -> str:
    """The table as a .cube file: red changes quickest."""
    axis = np.linspace(0.0, 1.0, SIDE)
    blue, green, red = np.meshgrid(axis, axis, axis, indexing="ij")
    rows = sdr_signal(np.stack([red, green, blue], axis=-1), transfer).reshape(-1, 3)
    lines = "\n".join(f"{r:.5f} {g:.5f} {b:.5f}" for r, g, b in rows.tolist())
    return f"LUT_3D_SIZE {SIDE}\n{lines}\n"
