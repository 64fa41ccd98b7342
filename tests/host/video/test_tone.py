"""HDR to SDR against the published values of its formulas, and through FFmpeg's own table."""

from collections.abc import Callable

import numpy as np
import pytest
from clip_maker import Coding, Scene

from breakyard.video.clip import Clip, frames
from breakyard.video.tone import compressed, hlg_light, pq_light, pq_signal, sdr_signal
from breakyard.video.upright import Upright, shape_for


def test_reference_levels_of_both_curves() -> None:
    """ITU-R BT.2408-7, table 1: HDR reference white, 203 cd/m2, is 75 % of HLG and 58 % of PQ; and 100 % of HLG is
    1000 cd/m2, 75 % of PQ likewise (rounded to whole percents there)."""
    grey = np.full(3, 0.75)

    assert float(hlg_light(grey)[0]) == pytest.approx(203.0, rel=0.005)
    assert float(pq_signal(np.array(203.0))) == pytest.approx(0.58, abs=0.005)
    assert float(hlg_light(np.ones(3))[0]) == pytest.approx(1000.0, rel=0.001)
    assert float(pq_signal(np.array(1000.0))) == pytest.approx(0.75, abs=0.005)
    assert float(pq_light(np.array(1.0))) == pytest.approx(10_000.0)


def test_tone_mapping_keeps_dark_tones_and_brings_the_brightest_to_white() -> None:
    """BT.2390's curve is the identity below its knee, rises throughout, and ends at the peak of the target."""
    light = np.geomspace(0.05, 1000.0, 200)
    mapped = compressed(light)

    assert mapped[light < 15.0] == pytest.approx(light[light < 15.0], rel=1e-6)
    assert (np.diff(mapped) > 0).all()
    assert float(mapped[-1]) == pytest.approx(203.0, rel=1e-3)


def test_grey_stays_grey_and_colours_keep_their_order() -> None:
    """Nothing neutral gets a tint; a red of BT.2020 is a red of BT.709."""
    grey = sdr_signal(np.full(3, 0.6), "hlg")
    red = sdr_signal(np.array([0.6, 0.2, 0.2]), "pq")

    assert np.ptp(grey) < 2e-3
    assert red[0] > 2 * red[1]


@pytest.mark.parametrize("transfer", [18, 16])
def test_an_hdr_clip_is_tone_mapped(films: Callable[..., Clip], transfer: int) -> None:
    """The decoded picture of a clip in HLG or PQ is what the formulas make of its pixels, within six steps of 8 bits on
    the whole (a table of 33 points, and colours at half the size); without the mapping it would be far from that."""
    scene = Scene(length_s=0.5, break_s=None, width=160, height=90, noise=0.0, shake_px=0, bang=False)
    clip = films(
        scene, Coding("libx265", "yuv420p10le", None, colours=(9, transfer, 9), options={"crf": "8"})
    )
    _, frame = next(frames(clip))
    stored = frame.reformat(format="rgb48le", src_colorspace=9).to_ndarray() / 65535.0
    wanted = sdr_signal(stored, "hlg" if transfer == 18 else "pq")
    with Upright(clip, shape_for(clip, None)) as upright:
        shown = upright(frame).reformat(format="rgb24", src_colorspace="ITU709").to_ndarray() / 255.0

    assert clip.transfer == ("hlg" if transfer == 18 else "pq")
    inside = np.s_[4:-4, 4:-4]
    assert np.abs(shown[inside] - wanted[inside]).mean() * 255 < 6.0
    assert np.abs(shown[inside] - stored[inside]).mean() * 255 > 12.0
