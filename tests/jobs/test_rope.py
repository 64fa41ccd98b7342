"""Spliced rope for a club: ten bedding-in cycles to a pre-tension, then the break; lengths read from a tape."""

from itertools import pairwise
from typing import Any


def cycles(break_kgf: float, count: int = 10) -> tuple[list[float], list[float]]:
    """Corners of the load: 20 to 300 kgf at 100 kgf/s, then the break."""
    loads = [0.0, 0.0]
    for _ in range(count):
        loads += [300.0, 20.0, 20.0]
    loads += [break_kgf, 0.0, 0.0]
    times = [0.0, 3.0]
    for before, after in pairwise(loads[1:]):
        times.append(times[-1] + (3.0 if before == after else max(abs(after - before) / 100.0, 0.01)))
    times[-2] = times[-3] + 0.01
    times[-1] = times[-2] + 4.0
    return times, loads


def test_rope(person: Any) -> None:
    """The strength counts from the recording's zero, though every pause is at the pre-tension; n is that of ropes."""
    person.says("breakyard new rope --unit kgf --place club", "rope")
    rows = [f"W{at},{'tuck' if at < 4 else 'stitched'},400 kgf,2" for at in range(1, 7)]
    person.writes("rope/specimens.csv", "\n".join(["id,group,proof_load,proof_s", *rows]))
    truths = [1510.0, 1480.0, 1530.0, 1205.0, 1190.0, 1230.0]
    for at, truth in enumerate(truths, start=1):
        person.records(f"in/W{at}.csv", *cycles(truth), seed=at)
    person.says(
        f"breakyard import {' '.join(f'in/W{at}.csv' for at in range(1, 7))} --session rope --accuracy 0.1"
    )

    # Nothing broke before the end and each recording has its specimen: six ropes, not sixty-six pulls.
    pulls = person.asks("breakyard summarize rope")["pulls"]
    assert len(pulls) == 6
    for pull, truth in zip(pulls, truths, strict=True):
        strength = pull["summary"]["strength"]
        assert strength["low_n"] <= truth * 9.80665 <= strength["high_n"]
        assert len(pull["summary"]["cycles"]) == 11

    notes = person.folder / "rope/runs/W1.toml"
    notes.write_text(
        'protocol = "10 x 20..300 kgf, then break"\n' + notes.read_text(encoding="utf-8"), encoding="utf-8"
    )
    person.says(
        "breakyard summarize rope/runs/W1.csv",
        "10 before this loading, tops 300",
        "meant: 10 x 20..300 kgf, then break",
        "Every loading",
    )

    # A tape between two marks, read at loads on the way up: no time is needed.
    lengths = [(load, 1000 + 0.02 * load) for load in (20, 300, 450, 600, 800, 1000, 1200, 1505)]
    person.writes("w1.csv", "load_kgf,mm\n" + "\n".join(f"{load},{length}" for load, length in lengths))
    person.says("breakyard attach W1 w1.csv --session rope", "8 lengths")
    person.says("breakyard summarize rope/runs/W1.csv", "% of 1000 mm", "kgf/mm")

    person.says("breakyard proof rope", "W1: held 400 kgf for 2 s", "no rating")
    person.says(
        'breakyard proof rope --load "400 kgf" --for "1 min"', "not held: asked 400 kgf for 60 s", status=1
    )
    person.says("breakyard compare rope", "tuck", "stitched")
    person.says("breakyard sheet --all --session rope --paper letter", "6 sheets")
    person.says("breakyard report rope/runs/W1.csv", "W1.report.html")
