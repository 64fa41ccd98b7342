"""Printed rings: three materials, two orientations, three days with another calibration each; published at the end."""

import csv
from typing import Any

import numpy as np
from PIL import Image

MATERIALS = {"PLA": 1.0, "PETG": 0.8, "ABS": 0.7}
ORIENTATIONS = {"flat": 1.0, "edge": 1.3}
DAYS = {"day1": 1.0, "day2": 1.015, "day3": 0.99}


def test_rings(person: Any) -> None:
    """From the plan to the publication; the truth is a factor of 1.30 between orientations and days that differ."""
    person.says(
        'breakyard design --factors "material=PLA,PETG,ABS; orientation=flat,edge" --days 3 --per-group 3 '
        "--scatter 4% --difference 20%",
        "PETG",
    )
    rng = np.random.default_rng(7)
    for day, (name, shift) in enumerate(DAYS.items()):
        person.says(f"breakyard new {name} --unit kgf --date 2026-05-0{day + 1} --place yard", name)
        rows = []
        for at, (material, orientation) in enumerate((m, o) for m in MATERIALS for o in ORIENTATIONS):
            ring = f"R{at + 1}"
            rows.append(f"{ring},{material} {orientation},{material},{orientation},{10 + day}")
            strength = (
                200 * MATERIALS[material] * ORIENTATIONS[orientation] * shift * np.exp(rng.normal(0, 0.03))
            )
            person.records(f"in/{ring}.csv", [0, 3, 9, 9.01, 13], [0, 0, strength, 0, 0], seed=10 * day + at)
        person.writes(
            f"{name}/specimens.csv", "\n".join(["id,group,material,orientation,temperature_C", *rows])
        )
        files = " ".join(f"in/R{at + 1}.csv" for at in range(6))
        person.says(f"breakyard import {files} --session {name} --accuracy 0.3", "kept:")

    Image.new("RGB", (60, 40), "grey").save(person.folder / "ring.jpg")
    person.says("breakyard photo R1 ring.jpg --session day1", "without its position")

    told = person.asks("breakyard compare day1 day2 day3 --by material,orientation --block session")
    assert "orientation" in str(told)
    person.says(
        "breakyard compare day1 day2 day3 --by material,orientation --block session",
        "orientation",
        "material",
    )

    person.says("breakyard sheet R1 --session day1", "R1.sheet.html (1 sheet")
    sheet = (person.folder / "day1/results/R1.sheet.html").read_text(encoding="utf-8")
    assert "data:image/jpeg;base64," in sheet
    assert "orientation" in sheet

    person.says("breakyard report day1 day2 day3", "written: report.html")
    report = (person.folder / "report.html").read_text(encoding="utf-8")
    assert "day3/R6" in report
    assert "2026-05-01, 2026-05-02, 2026-05-03" in report

    person.says("breakyard export day1 day2 day3 --tidy --licence CC-BY-4.0 --to pub", "18 pulls in pub")
    with (person.folder / "pub/pulls.csv").open(encoding="utf-8", newline="") as file:
        pulls = list(csv.DictReader(file))
    assert [pull["session"] for pull in pulls].count("day2") == 6
    assert {pull["material"] for pull in pulls} == set(MATERIALS)
    assert {pull["temperature_C"] for pull in pulls} == {"10.0", "11.0", "12.0"}
    assert all((person.folder / "pub" / pull["curve"]).is_file() for pull in pulls)
    assert (person.folder / "pub/photos/day1/R1-1.jpg").is_file()
