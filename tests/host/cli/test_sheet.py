"""One sheet per specimen, as a user asks for it."""

import html
import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import html5lib
import numpy as np
import pytest
from PIL import Image

from breakyard.formats.read_csv import parse_csv
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session

Command = Callable[..., Any]


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """Two specimens with own columns, one with a proof load; S2's note is hostile; S3's recording holds no pull."""
    rows = [
        Specimen(
            "S1", "flat", more={"material": "PLA", "width_mm": "12", "proof_load": "1 kN", "proof_s": "5"}
        ),
        Specimen("S2", "edge", notes="<script>alert(1)</script>", more={"material": "PETG"}),
        Specimen("S3", "edge"),
    ]
    info = SessionInfo(place="yard (invented)", unit="N", more={"temperature_C": 14})
    made = create_session(tmp_path / "day", info, rows)
    for at, one in enumerate(rows):
        time = np.arange(0.0, 19.0, 0.02)
        load = np.interp(time, [0, 3, 8, 16, 16.01, 19], [0, 0, 2000, 2500 + 10 * at, 0, 0]) * (
            one.id != "S3"
        )
        load += 0.3 * np.random.default_rng(at).standard_normal(len(time))
        data = "time_s,load_N\n" + "\n".join(f"{t:.2f},{f:.3f}" for t, f in zip(time, load, strict=True))
        made.add_recording(
            one.id, data.encode(), parse_csv(data.encode(), name=one.id), specimen=one.id, accuracy=0.001
        )
    return made.root


def words(page: Path) -> str:
    """The page's text."""
    text = re.sub(r"<style.*?</style>", " ", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def test_a_sheet_tells_the_specimen(session: Path, breakyard: Command, tmp_path: Path) -> None:
    """Strength with its interval, own columns, the session's condition, the hold, the hash, what was not stated."""
    Image.new("RGB", (40, 30), "red").save(tmp_path / "p.jpg")
    breakyard("photo", "S1", tmp_path / "p.jpg", "--session", session)

    done = breakyard("sheet", "S1", "--session", session)

    assert done.status == 0, done.err
    page = session / "results" / "S1.sheet.html"
    told = words(page)
    for wanted in (
        "S1: bore 25",
        "no rating",
        "material PLA",
        "temperature_C 14",
        "held 1000 N for 5 s",
        "Material material: PLA",
        "Not stated Direction, place of sampling, Preparation, conditioning, Gripping",
        "ISO 527-1",
        "S1.csv",
    ):
        assert wanted in told, wanted
    assert page.read_text(encoding="utf-8").count("data:image/jpeg;base64,") == 1
    html5lib.HTMLParser(strict=True).parse(page.read_text(encoding="utf-8"))


def test_all_sheets_in_one_file_for_either_paper(session: Path, breakyard: Command) -> None:
    """A page break after each, the paper's size, hostile notes as text, and the pull that cannot be read."""
    done = breakyard("sheet", "--all", "--session", session, "--paper", "letter", "--json")

    page = session / "results" / "sheets.html"
    text = page.read_text(encoding="utf-8")
    assert done.document["specimens"] == ["S1", "S2", "S3"]
    assert text.count('class="sheet"') == 3
    assert "size: letter" in text
    assert "<script" not in text
    assert "Not read:" in words(page)


@pytest.mark.parametrize(("said", "wanted"), [((), "--all"), (("S9",), "S1"), (("S1", "--all"), "--all")])
def test_what_cannot_be_asked(session: Path, breakyard: Command, said: tuple[str, ...], wanted: str) -> None:
    """In one line, with what there is."""
    done = breakyard("sheet", *said, "--session", session)

    assert done.status == 2
    assert wanted in done.complaint


def test_a_sheet_with_all_that_it_can_hold_is_one_page(tmp_path: Path, breakyard: Command) -> None:
    """Photo, lengths, 14 loadings, a hold, own columns, printed by a browser on letter, the shorter paper."""
    browser = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if browser is None:
        pytest.skip("no chromium (Debian and its kin: the package chromium)")
    own = {"material": "polyester", "diameter_mm": "10", "proof_load": "1 kN", "proof_s": "1"}
    made = create_session(
        tmp_path / "day", SessionInfo(unit="N"), [Specimen("S1", "rope", more=own), Specimen("S2", "rope")]
    )
    corners = [(0.0, 0.0), (3.0, 0.0)]
    for _ in range(13):
        at = corners[-1][0]
        corners += [(at + 3.0, 1500.0), (at + 6.0, 100.0), (at + 7.0, 100.0)]
    at = corners[-1][0]
    corners += [(at + 8.0, 4000.0), (at + 8.01, 0.0), (at + 12.0, 0.0)]
    time = np.arange(0.0, corners[-1][0], 0.05)
    load = np.interp(time, *zip(*corners, strict=True)) + 0.3 * np.random.default_rng(0).normal(
        size=len(time)
    )
    data = "time_s,load_N\n" + "\n".join(f"{t:.2f},{f:.3f}" for t, f in zip(time, load, strict=True))
    for name in ("S1", "S2"):
        made.add_recording(
            name, data.encode(), parse_csv(data.encode(), name=name), specimen=name, accuracy=0.001
        )
    meant = {"protocol": "13 x 100..1500 N, then break"}
    made.change_notes("S1", lambda notes: replace(notes, more={**notes.more, **meant}))
    Image.effect_noise((800, 600), 60).convert("RGB").save(tmp_path / "p.jpg")
    breakyard("photo", "S1", tmp_path / "p.jpg", "--session", made.root)
    lengths = "load_N,mm\n" + "\n".join(f"{force},{1000 + force / 50}" for force in range(200, 4000, 300))
    (tmp_path / "m.csv").write_text(lengths, encoding="utf-8")
    breakyard("attach", "S1", tmp_path / "m.csv", "--session", made.root)
    assert breakyard("sheet", "--all", "--session", made.root, "--paper", "letter").status == 0

    page = made.root / "results" / "sheets.html"
    flags = ("--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer")
    subprocess.run(
        [browser, *flags, f"--user-data-dir={tmp_path / 'profile'}", "--print-to-pdf=s.pdf", page.as_uri()],
        cwd=tmp_path,
        check=True,
        capture_output=True,
    )

    told = words(page)
    assert "Every loading" in told
    assert "Stiffness" in told
    assert page.read_text(encoding="utf-8").count("data:image/jpeg") == 1
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", (tmp_path / "s.pdf").read_bytes())) == 2
