"""Tables of calibration points: any dialect, words or units, and one clear line for what is wrong."""

import pytest

from breakyard.errors import BreakyardError
from breakyard.formats.read_points import parse_points, read_points


@pytest.mark.parametrize(
    "text",
    [
        'Load,Counts\n0,1204.5\n"20 kg",169350\n"2 x 20 kg",337500\n',
        "hung;counts\r\n0;1204,5\r\n20 kg;169350\r\n2 x 20 kg;337500\r\n",
        "\ufeffCounts\tMass [kg]\n1204.5\t0\n169350\t20\n337500\t40\n",
        "Mass (g);Counts;notes\n0;1204,5;windy\n\n20000;169350;\n40000;337500;\n",
        "Known load,Reading\nempty,1204.5\n44.0924524 lb,169350\n88.1849049 lb,337500\n",
    ],
)
def test_dialects_say_the_same(text: str) -> None:
    """Words or a unit in the header, points or commas, any order of the columns: the same loads and counts."""
    points = parse_points(text.encode())

    assert [point.load.kilograms for point in points] == pytest.approx([0.0, 20.0, 40.0], rel=1e-8)
    assert [point.counts for point in points] == [1204.5, 169350.0, 337500.0]


def test_limits_and_uncertainties() -> None:
    """A limit in the words, the common limit for the rest, the standard uncertainty of the counts."""
    table = "Load,Counts,Counts standard\n20 kg +- 0.03 kg,5,1.5\n40 kg,9,\n"
    own, common = parse_points(table.encode(), mass_limit=0.001)

    assert own.load.pieces[0].standard_kg == pytest.approx(0.03 / 3**0.5)
    assert common.load.pieces[0].standard_kg == pytest.approx(0.04 / 3**0.5)
    assert (own.counts_standard, common.counts_standard) == (1.5, None)


@pytest.mark.parametrize("column", ["Uncertainty [%]", "Uncertainty [kN]"])
def test_forces_of_a_reference(column: str) -> None:
    """The certificate's k = 2 uncertainty is halved and common to all points."""
    value = "0.2" if "%" in column else "0.004"
    points = parse_points(f"Force [kN],Counts,{column}\n0,3,0\n2,500000,{value}\n".encode())

    assert points[0].load.nothing
    assert points[1].load.reference_n == pytest.approx(2000.0)
    assert points[1].load.reference_shared == pytest.approx(0.001)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "the file is empty"),
        ("Load,Counts\n", "no row below the header"),
        ("a,b\n1,2\n", "no column is headed as counts"),
        ("Counts\n5\n", "the known load"),
        ("Load,Counts\n20 kgf,5\n", 'row 2: "kgf" is a force'),
        ("Load,Counts\n20,5\n", "a number needs a unit"),
        ("Load,Counts\n,5\n", "row 2: the known load is empty"),
        ("Load,Counts\n20 kg,\n", 'row 2: counts: "" is not a number'),
        ("Force [N],Counts\n5,5\n", "as on its certificate"),
        ("Force [N],Counts,Uncertainty [mm]\n5,5,1\n", "a force or a percentage"),
    ],
)
def test_what_is_wrong_is_said_with_its_row(text: str, expected: str) -> None:
    """One line, with the file and the row."""
    with pytest.raises(BreakyardError) as caught:
        parse_points(text.encode(), where="bench.csv")

    assert str(caught.value).startswith("bench.csv")
    assert expected in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_file_is_named(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """The path is in the message."""
    with pytest.raises(BreakyardError, match=r"none\.csv: cannot be read"):
        read_points(tmp_path / "none.csv")
