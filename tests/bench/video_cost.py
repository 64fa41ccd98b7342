"""What burning the read-out costs beside decoding and encoding the same clip without it: CPU time, and memory.

    python3 tests/bench/video_cost.py [--seconds 30] [--rounds 2]

The clip is 1080p at 60 a second, H.264 with sound. The baseline is PyAV alone: each frame decoded and encoded with the
same settings. Promised: at most 15 % more; 30 s in under 75 s of CPU; memory that does not grow with the clip.
"""

import argparse
import resource
import sys
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "support"))

import av
from clip_maker import SOUND_RATE, Scene, painter

import breakyard as by
from breakyard.curve import LoadCurve
from breakyard.video.alignment import Alignment
from breakyard.video.burn import Style, burn
from breakyard.video.clip import read_clip
from breakyard.video.film import QUALITY, SPEED
from breakyard.video.readout import make_readout

RATE = 60


def make(path: Path, seconds: float) -> None:
    """A clip: half a second of the yard, over and over, as a phone would code it (about 20 Mbit/s)."""
    paint = painter(Scene(width=1920, height=1080, break_s=None), np.random.default_rng(1))
    pictures = [
        av.VideoFrame.from_ndarray(paint(number / RATE), format="rgb24").reformat(format="yuv420p")
        for number in range(30)
    ]
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=RATE, options={"preset": "veryfast", "b": "20M"})
        stream.width, stream.height, stream.pix_fmt = 1920, 1080, "yuv420p"
        stream.codec_context.gop_size = RATE
        sound = container.add_stream("aac", rate=SOUND_RATE, layout="mono")
        for number in range(int(seconds * RATE)):
            at = number % 58
            frame = pictures[min(at, 58 - at) % 30]
            frame.pts, frame.time_base = number, Fraction(1, RATE)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
        noise = np.random.default_rng(2).uniform(-0.1, 0.1, int(seconds * SOUND_RATE)).astype(np.float32)
        for at in range(0, len(noise), 1024):
            piece = av.AudioFrame.from_ndarray(noise[None, at : at + 1024], "fltp", "mono")
            piece.sample_rate, piece.pts, piece.time_base = SOUND_RATE, at, Fraction(1, SOUND_RATE)
            container.mux(sound.encode(piece))
        container.mux(sound.encode())


def plain(source: Path, target: Path) -> None:
    """Decode and encode, nothing else."""
    with av.open(str(source)) as clip, av.open(str(target), "w") as film:
        pictures = clip.streams.video[0]
        pictures.thread_type = "AUTO"
        options = {"preset": SPEED, "crf": QUALITY, "profile": "high"}
        stream = film.add_stream("libx264", rate=RATE, options=options)
        stream.width, stream.height, stream.pix_fmt = 1920, 1080, "yuv420p"
        for frame in clip.decode(pictures):
            frame.pict_type = type(frame.pict_type)(0)
            film.mux(stream.encode(frame))
        film.mux(stream.encode())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--rounds", type=int, default=2)
    wanted = parser.parse_args()
    moments = np.arange(0.0, 60.0, 0.0125)
    load = np.interp(moments, [2, 25, 25.001, 60], [0, 4000, 0, 0])
    curve = LoadCurve.from_columns(moments, load + 0.3 * np.random.default_rng(1).standard_normal(len(load)))
    readout = make_readout(curve, by.summarize(curve), unit="N", specimen="B1", group="bonded")
    alignment = Alignment(wanted.seconds * 0.8, 25.0, 0.01, 1.0, (), ())
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make(folder / "clip.mp4", wanted.seconds)
        make(folder / "short.mp4", min(4.0, wanted.seconds))
        burn(read_clip(folder / "short.mp4"), readout, alignment, Style(), folder / "film.mp4")
        before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        spent = {"plain": 0.0, "read-out": 0.0}
        for _ in range(wanted.rounds):
            start = time.process_time()
            plain(folder / "clip.mp4", folder / "plain.mp4")
            middle = time.process_time()
            burn(read_clip(folder / "clip.mp4"), readout, alignment, Style(), folder / "film.mp4")
            spent["plain"] += middle - start
            spent["read-out"] += time.process_time() - middle
        after_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    each = {kind: value / wanted.rounds for kind, value in spent.items()}
    print(f"{wanted.seconds:g} s of 1080p{RATE}: decoded and encoded {each['plain']:.1f} s of CPU,")
    print(
        f"with the read-out {each['read-out']:.1f} s: {100 * (each['read-out'] / each['plain'] - 1):+.1f} %"
    )
    print(f"memory at most: {before_mb:.0f} MB after 4 s of film, {after_mb:.0f} MB after all")


if __name__ == "__main__":
    main()
