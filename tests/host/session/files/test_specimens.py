"""The table of specimens survives a spreadsheet and says what is wrong with it."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from breakyard.errors import BreakyardError, DataError, UnitError
from breakyard.session.files.specimens import (
    Specimen,
    parse_specimens,
    read_specimens,
    specimens_text,
    write_specimens,
)


def test_what_a_spreadsheet_makes_of_it_is_read() -> None:
    """Semicolons, decimal commas, own columns, other order, blank rows, empty cells."""
    text = 'Group;ID;mass [g];Colour;Order;Notes\r\nbonded;B1;250,5;red;1;\r\n;;;;;\r\nscrewed;S1;;;;"slow; wet"\r\n'

    first, second = parse_specimens(text, "specimens.csv")

    assert first == Specimen("B1", "bonded", 1, 0.2505, "", {"Colour": "red"})
    assert second == Specimen("S1", "screwed", None, None, "slow; wet", {"Colour": ""})


@pytest.mark.parametrize(
    ("header", "cell", "kilograms"),
    [
        ("mass_kg", "0.25", 0.25),
        ("mass", "250 g", 0.25),
        ("Mass (lb)", "2", 0.90718474),
        ("mass", "1,5 kg", 1.5),
    ],
)
def test_masses(header: str, cell: str, kilograms: float) -> None:
    """0.45359237 kg in a pound: NIST SP 811, Appendix B.8."""
    (specimen,) = parse_specimens(f'id;{header}\nB1;"{cell}"\n', "specimens.csv")

    assert specimen.mass_kg == pytest.approx(kilograms, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("group,order\na,1\n", DataError, 'no column "id"'),
        ("id,group\nB1,a\nB1,b\n", DataError, "row 3"),
        ("id,group\n,a\n", DataError, "row 2"),
        ("id,order\nB1,first\n", DataError, '"first"'),
        ("id,id\nB1,B2\n", DataError, 'two columns are called "id"'),
        ("id,group\nB1,a,extra\n", DataError, "3 fields for 2 columns"),
        ("id,mass\nB1,25\n", UnitError, "no unit"),
        ("id,mass [N]\nB1,25\n", UnitError, "is a force"),
        ("id,mass_kg\nB1,-1\n", UnitError, '"-1"'),
        ("id,mass_kg\nB1,nan\n", UnitError, '"nan"'),
    ],
)
def test_mistakes_are_told_with_their_row(text: str, kind: type[BreakyardError], words: str) -> None:
    with pytest.raises(kind) as caught:
        parse_specimens(text, "specimens.csv")

    assert str(caught.value).startswith("specimens.csv")
    assert words in str(caught.value)


def test_no_file_is_an_empty_table(tmp_path: Path) -> None:
    assert read_specimens(tmp_path / "specimens.csv") == ()


CELL = st.text(
    alphabet=st.characters(codec="utf-8", exclude_categories=["Cc", "Zl", "Zp", "Zs"]), max_size=12
)


@given(
    st.lists(
        st.builds(
            Specimen,
            id=CELL.filter(bool),
            group=CELL,
            order=st.none() | st.integers(0, 10**6),
            mass_kg=st.none() | st.floats(0, 1e5),
            notes=CELL,
            more=st.fixed_dictionaries({"Colour": CELL}),
        ),
        min_size=1,
        max_size=5,
        unique_by=lambda specimen: specimen.id,
    ),
    st.sampled_from([",", ";", "\t"]),
)
@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_table_comes_back_as_written(tmp_path: Path, specimens: list[Specimen], separator: str) -> None:
    """With any separator, which a later change of the table keeps."""
    path = tmp_path / "specimens.csv"
    path.write_text(specimens_text(specimens, separator), encoding="utf-8-sig", newline="")

    first = read_specimens(path)
    write_specimens(path, first)

    assert list(first) == specimens
    assert list(read_specimens(path)) == specimens
    assert path.read_bytes().decode("utf-8-sig").startswith(f"id{separator}group")


@pytest.mark.parametrize(
    ("one", "other"), [("S1", "s1"), ("Gr\u00fcn", "Gru\u0308n"), ("Stra\u00dfe", "STRASSE")]
)
def test_ids_that_another_disk_takes_for_one_are_refused(one: str, other: str) -> None:
    """Capitals, and letters put together or taken apart: one run would replace the other on a copy to Windows."""
    with pytest.raises(
        DataError, match=r"row 3: the id .* is too like .* in row 2: Windows or a Mac"
    ) as told:
        parse_specimens(f"id,group\n{one},a\n{other},b\n", "specimens.csv")

    assert "\n" not in str(told.value)
