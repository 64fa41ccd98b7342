"""One tidy publication of several sessions, as a user makes it, checked by the library of its standard."""

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from pulled_day import pulled_day

from breakyard.session.files.specimens import Specimen

Command = Callable[..., Any]


@pytest.fixture
def days(tmp_path: Path) -> list[Path]:
    """Two days with the same ids; own columns with numbers, decimal commas, texts, and a name that is ours."""
    first = [
        Specimen(
            "S1", "flat", more={"material": "PLA", "layer_mm": "0,2", "temperature_C": "12", "flags": "x"}
        ),
        Specimen(
            "S2", "edge", more={"material": "PETG", "layer_mm": "0.3", "temperature_C": "", "flags": ""}
        ),
    ]
    second = [Specimen("S1", "flat", notes="a | bar", more={"material": "ABS", "operator": "two, of us"})]
    return [pulled_day(tmp_path / "day1", *first), pulled_day(tmp_path / "day2", *second)]


def rows_of(path: Path) -> list[dict[str, str]]:
    """A table as it stands."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.filterwarnings("ignore")
def test_the_publication_is_valid_by_its_own_standard(
    days: list[Path], breakyard: Command, tmp_path: Path
) -> None:
    """Frictionless finds every file, its size, its hash, its columns and the kind of every cell as described."""
    from frictionless import Package

    Image.new("RGB", (40, 30), "red").save(tmp_path / "photo.jpg")
    breakyard("photo", "S1", tmp_path / "photo.jpg", "--session", days[0])

    done = breakyard("export", *days, "--tidy", "--licence", "cc-by-4.0", "--to", tmp_path / "pub")

    assert done.status == 0, done.err
    report = Package(str(tmp_path / "pub" / "datapackage.json")).validate()
    assert report.valid, report.flatten(["name", "type", "message"])
    document = json.loads((tmp_path / "pub" / "datapackage.json").read_text(encoding="utf-8"))
    assert [one["path"] for one in document["resources"]] == [
        "pulls.csv",
        "curves/day1/S1.csv",
        "curves/day1/S2.csv",
        "curves/day2/S1.csv",
        "photos/day1/S1-1.jpg",
    ]
    assert document["licenses"][0]["name"] == "CC-BY-4.0"


@pytest.mark.filterwarnings("ignore")
def test_the_standard_would_notice(days: list[Path], breakyard: Command, tmp_path: Path) -> None:
    """One changed byte of a curve, and one cell that is no number, are found by the same check."""
    from frictionless import Package

    breakyard("export", *days, "--tidy", "--to", tmp_path / "pub")
    curve = tmp_path / "pub" / "curves" / "day1" / "S1.csv"
    curve.write_bytes(curve.read_bytes().replace(b"true", b"trve", 1))

    report = Package(str(tmp_path / "pub" / "datapackage.json")).validate()

    assert not report.valid


def test_every_pull_is_a_row_with_its_own_columns(
    days: list[Path], breakyard: Command, tmp_path: Path
) -> None:
    """Own columns of all days, numbers as numbers, conditions under our names, the curve's file and the hashes."""
    breakyard("export", *days, "--tidy", "--to", tmp_path / "pub", "--unit", "kgf")

    rows = rows_of(tmp_path / "pub" / "pulls.csv")
    assert [(row["session"], row["recording"]) for row in rows] == [
        ("day1", "S1"),
        ("day1", "S2"),
        ("day2", "S1"),
    ]
    assert [row["material"] for row in rows] == ["PLA", "PETG", "ABS"]
    assert [row["layer_mm"] for row in rows] == ["0.2", "0.3", ""]
    assert [row["temperature_C"] for row in rows] == ["12.0", "", ""]
    assert [row["own_flags"] for row in rows] == ["x", "", ""]
    assert rows[2]["operator"] == "two, of us"
    assert float(rows[0]["strength_kgf"]) == pytest.approx(3000.0 / 9.80665, rel=0.01)
    assert (
        float(rows[0]["strength_low_kgf"])
        < float(rows[0]["strength_kgf"])
        < float(rows[0]["strength_high_kgf"])
    )
    assert rows[0]["at_least"] == "false"
    for row in rows:
        curve = rows_of(tmp_path / "pub" / row["curve"])
        assert max(float(one["load_kgf"]) for one in curve) == pytest.approx(float(row["largest_sample_kgf"]))
        assert len(row["recording_sha256"]) == 64
    codebook = (tmp_path / "pub" / "codebook.md").read_text(encoding="utf-8")
    assert "must not be averaged" in codebook
    assert "| layer_mm | number |" in codebook


def test_an_earlier_publication_is_replaced_and_nothing_else_is(
    days: list[Path], breakyard: Command, tmp_path: Path
) -> None:
    """What was published of a second day is gone with it; a folder of something else is left alone."""
    breakyard("export", *days, "--tidy", "--to", tmp_path / "pub")
    assert (tmp_path / "pub" / "curves" / "day2").is_dir()

    breakyard("export", days[0], "--tidy", "--to", tmp_path / "pub")
    refused = breakyard("export", days[0], "--tidy", "--to", days[1])

    assert not (tmp_path / "pub" / "curves" / "day2").exists()
    assert refused.status == 2
    assert "neither empty nor an earlier publication" in refused.complaint
    assert (days[1] / "session.toml").is_file()


def test_what_somebody_added_to_a_publication_is_not_lost(
    days: list[Path], breakyard: Command, tmp_path: Path
) -> None:
    """A page of one's own in it, or a repository, is named; the folder stays. What systems leave is nothing."""
    breakyard("export", days[0], "--tidy", "--to", tmp_path / "pub")
    (tmp_path / "pub" / ".DS_Store").write_bytes(b"x")
    again = breakyard("export", days[0], "--tidy", "--to", tmp_path / "pub")
    (tmp_path / "pub" / ".git").mkdir()
    (tmp_path / "pub" / ".git" / "HEAD").write_bytes(b"mine")

    refused = breakyard("export", days[0], "--tidy", "--to", tmp_path / "pub")

    assert again.status == 0, again.err
    assert refused.status == 2
    assert ".git/HEAD is there" in refused.complaint
    assert (tmp_path / "pub" / ".git" / "HEAD").read_bytes() == b"mine"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--tidy", "--licence", "mine"), "CC-BY-4.0"),
        (("--tidy", "--format", "json"), "leave out"),
        (("--licence", "CC0-1.0"), "add --tidy"),
    ],
)
def test_what_does_not_go_together_is_refused(
    days: list[Path], breakyard: Command, tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    """In one line, with what to do, and nothing written."""
    done = breakyard("export", days[0], *words, "--to", tmp_path / "pub")

    assert done.status == 2
    assert said in done.complaint
    assert not (tmp_path / "pub").exists()


def test_curves_of_equal_names_do_not_overwrite_each_other(
    days: list[Path], breakyard: Command, tmp_path: Path
) -> None:
    """Two days with the same ids: as many files as pulls, and a table that tells the days apart."""
    done = breakyard("export", *days, "--to", tmp_path / "out")

    assert done.status == 0, done.err
    assert sorted(
        str(path.relative_to(tmp_path / "out")) for path in (tmp_path / "out").rglob("*.curve.csv")
    ) == [
        "day1/S1.curve.csv",
        "day1/S2.curve.csv",
        "day2/S1.curve.csv",
    ]
    with (tmp_path / "out" / "summaries.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [row["session"] for row in csv.DictReader(file)] == ["day1", "day1", "day2"]


def test_a_photo_is_kept_upright_and_without_its_position(
    days: list[Path], breakyard: Command, tmp_path: Path
) -> None:
    """EXIF with a position and a quarter turn goes in; upright pixels alone come out. Tags: Exif 2.3 (CIPA DC-008)."""
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation: turned by a quarter
    exif.get_ifd(0x8825)[1] = "N"  # GPSLatitudeRef
    exif.get_ifd(0x8825)[2] = (54.0, 30.0, 0.0)
    Image.new("RGB", (40, 30), "red").save(tmp_path / "photo.jpg", exif=exif, comment=b"at home")

    done = breakyard("photo", "S1", tmp_path / "photo.jpg", "--session", days[0])

    assert done.status == 0, done.err
    kept = days[0] / "photos" / "S1" / "1.jpg"
    with Image.open(kept) as picture:
        assert picture.size == (30, 40)
        assert not picture.getexif()
        assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert b"at home" not in kept.read_bytes()
    again = breakyard("photo", "S1", kept, "--session", days[0], "--json")
    assert again.document["files"] == [str(kept)]


@pytest.mark.parametrize(("specimen", "name", "said"), [("S9", "photo.jpg", "S1"), ("S1", "no.heic", "JPEG")])
def test_a_photo_that_cannot_be_kept(
    days: list[Path], breakyard: Command, tmp_path: Path, specimen: str, name: str, said: str
) -> None:
    """No such specimen, no such picture."""
    Image.new("RGB", (4, 3)).save(tmp_path / "photo.jpg")
    (tmp_path / "no.heic").write_bytes(b"ftypheic")

    done = breakyard("photo", specimen, tmp_path / name, "--session", days[0])

    assert done.status == 2
    assert said in done.complaint
