"""Real files' oddities: what a clip says of itself is understood, and what is no clip is refused in a line."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from clip_maker import Coding, Scene, make_clip

from breakyard.errors import DataError
from breakyard.video.clip import Clip, frames, read_clip

Films = Callable[..., Clip]

SHORT = Scene(length_s=1.0, break_s=0.5, width=160, height=90)


def test_each_frame_has_its_own_time(tmp_path: Path) -> None:
    """With a rate that varies, times are those of the file, also after a jump into it."""
    times = make_clip(
        tmp_path / "vfr.mp4", Scene(length_s=2.0, width=160, height=90, jitter=0.2), Coding(gop=10)
    )
    clip = read_clip(tmp_path / "vfr.mp4")

    assert clip.uneven
    assert clip.times_s == pytest.approx(times, abs=1e-4)
    assert [time for time, _ in frames(clip)] == pytest.approx(times, abs=1e-4)
    late = [time for time, _ in frames(clip, 1.2, 1.6)]
    assert late == pytest.approx([one for one in times if late[0] - 1e-4 <= one < 1.6], abs=1e-4)
    assert late[0] <= 1.2 < late[1]


def test_what_a_clip_says_of_itself(tmp_path: Path) -> None:
    """Codec, depth, colours, turn, sound and when it was filmed."""
    hdr = Coding("libx265", "yuv420p10le", None, turned_deg=-90, colours=(9, 18, 9))
    make_clip(tmp_path / "hdr.mp4", SHORT, hdr)
    sdr = Coding(metadata={"creation_time": "2026-05-03T10:11:12.000000Z"}, full_range=True)
    make_clip(tmp_path / "sdr.mp4", SHORT, sdr)
    one, other = read_clip(tmp_path / "hdr.mp4"), read_clip(tmp_path / "sdr.mp4")

    assert (one.codec, one.bits, one.transfer, one.matrix, one.sound) == ("hevc", 10, "hlg", "bt2020", "")
    assert (one.turned_deg, one.seen_size) == (-90, (90, 160))
    assert one.created_utc_s is None
    assert (other.codec, other.bits, other.transfer, other.sound) == ("h264", 8, "sdr", "aac")
    assert (other.full_range, other.turned_deg, other.stretch) == (True, 0, 1.0)
    assert other.created_utc_s == datetime(2026, 5, 3, 10, 11, 12, tzinfo=UTC).timestamp()


def test_a_stretched_slow_motion_clip_says_so(tmp_path: Path) -> None:
    """Filmed at 120, stored at 30: the recorder's tag tells; a clip stored at its own rate is not stretched."""
    tag = {"com.android.capture.fps": "120.000000"}
    scene = Scene(length_s=0.5, break_s=0.3, width=160, height=90, rate=120.0)
    make_clip(tmp_path / "slow.mp4", scene, Coding(sound=None, stretch=4, metadata=tag))
    make_clip(tmp_path / "quick.mp4", scene, Coding(sound=None, metadata=tag))

    assert read_clip(tmp_path / "slow.mp4").stretch == 4.0
    assert read_clip(tmp_path / "quick.mp4").stretch == 1.0


@pytest.mark.parametrize(
    ("name", "said"),
    [("notes.mp4", "cannot be read as a clip"), ("missing.mp4", "no such clip"), ("sound.m4a", "no film in it"),
     ("cut.mp4", "cannot be read as a clip"), ("picture.png", "a picture, not a clip")],
)  # fmt: skip
def test_what_is_no_clip_is_refused(tmp_path: Path, name: str, said: str) -> None:
    """Text, nothing, sound alone, a file copied half, a picture."""
    import av
    from PIL import Image

    path = tmp_path / name
    if name == "notes.mp4":
        path.write_text("twelve fittings, one bent")
    elif name == "sound.m4a":
        with av.open(str(path), "w", format="ipod") as container:
            stream = container.add_stream("aac", rate=48_000, layout="mono")
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), "fltp", "mono")
            frame.sample_rate = 48_000
            for packet in [*stream.encode(frame), *stream.encode()]:
                container.mux(packet)
    elif name == "cut.mp4":
        make_clip(tmp_path / "whole.mp4", SHORT)
        data = (tmp_path / "whole.mp4").read_bytes()
        path.write_bytes(data[: len(data) // 2])
    elif name == "picture.png":
        Image.new("RGB", (64, 48)).save(path)

    with pytest.raises(DataError, match=said) as told:
        read_clip(path)
    assert name in str(told.value)
    assert "\n" not in str(told.value)
