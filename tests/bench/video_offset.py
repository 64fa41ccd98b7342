"""How often the found offset of a clip lies within its stated half-width (about 95 % is promised), on random clips.

python3 tests/bench/video_offset.py [--clips 200] [--first 0]
"""

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "support"))

from clip_maker import make_clip
from clips_of_pulls import clip_case, true_known

from breakyard.video.clip import read_clip
from breakyard.video.find import Stated, find_alignment


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clips", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    wanted = parser.parse_args()
    inside, unsure, missed, ratios, widths = 0, 0, [], [], []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(wanted.first, wanted.first + wanted.clips):
            case = clip_case(number)
            path = Path(folder) / "clip.mp4"
            make_clip(path, case.scene, case.coding)
            found = find_alignment(read_clip(path), true_known(case), case.filmed, Stated())
            if found is None or not found.sure:
                unsure += 1
                continue
            error = (found.clip_s - case.break_in_clip_s) / case.filmed.stretch
            ratios.append(error / found.standard_s)
            widths.append(found.half_width_s)
            if abs(error) <= found.half_width_s:
                inside += 1
            else:
                missed.append(f"{number}: {1000 * error:+.0f} ms, stated {1000 * found.half_width_s:.0f} ms")
    sure = wanted.clips - unsure
    print(f"{wanted.clips} clips; not sure, so a person is asked: {unsure}")
    print(f"within the stated half-width: {inside} of {sure} ({100 * inside / max(sure, 1):.1f} %)")
    if widths:
        widths.sort()
        spread = (sum(ratio**2 for ratio in ratios) / len(ratios)) ** 0.5
        middle = 1000 * widths[len(widths) // 2]
        print(f"half-width: median {middle:.0f} ms; error over standard uncertainty: {spread:.2f} rms")
    for line in missed:
        print(f"  outside: clip {line}")


if __name__ == "__main__":
    main()
