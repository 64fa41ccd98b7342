"""The description of a rig as people write it, and its mistakes."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.errors import BreakyardError, DataError, UnitError, UsageError
from breakyard.plan.between import blocks_between
from breakyard.plan.describe import find_loading, rig_from_table
from breakyard.plan.quantities import (
    parse_force_range,
    parse_stiffness,
    show_force,
    show_number,
    show_percent,
    unit_of,
)
from breakyard.plan.rig import Rig, check_rig
from breakyard.plan.rules import LOADINGS
from breakyard.plan.template import RIG_TEMPLATE

KGF = 9.80665


def rig(text: str, **more: object) -> Rig:
    """The rig of a TOML text, below [rig] with an expected peak."""
    table = tomllib.loads(f'[rig]\nexpected = "300..500 kgf"\n{text}')["rig"]
    return rig_from_table(table, **more)  # type: ignore[arg-type]


def test_the_template_is_a_rig_that_passes() -> None:
    """What --template prints can be used as it is."""
    described = rig_from_table(tomllib.loads(RIG_TEMPLATE)["rig"])

    assert check_rig(described).ok
    assert [element.kind for element in described.elements] == [
        *("shackle", "cell", "eyebolt", "rod end", "chain", "rope")
    ]
    assert described.elements[0].wll_n == pytest.approx(2000.0 * KGF)
    assert described.anchors[1].role == "pull"


def test_options_go_before_the_description() -> None:
    """Expected peak, loading and margin of the command line win."""
    described = rig(
        'loading = "jerk"\nmargin = 3', expected_n=(1.0, 2.0), loading=LOADINGS["hoist"], margin=1.5
    )

    assert (described.expected_high_n, described.loading.name, described.margin) == (2.0, "hoist", 1.5)


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        (
            '[[rig.element]]\nname="bow"\nkind="shackle"\nwll="2 t"',
            UnitError,
            ("element 1", '"bow"', "wll", "2 tf"),
        ),
        ('[[rig.element]]\nkind="shackle"\nwll="500 kg"', UnitError, ("wll", "kgf")),
        ('[[rig.element]]\nkind="rope"\nbreaking="9 kilo"', UnitError, ("breaking", "unknown unit")),
        ('[[rig.element]]\nkind="shackle"\nwll=2000', DataError, ("wll", "unit", "2000")),
        ('[[rig.element]]\nkind="shackle"\nwwl="2 tf"', DataError, ("wwl", "did you mean wll")),
        ('[[rig.element]]\nname="x"', DataError, ("no kind", "shackle")),
        ('[[rig.element]]\nkind="cell"', DataError, ("capacity",)),
        ('[[rig.element]]\nkind="hook"\ncapacity="1 tf"', DataError, ("capacity", "wll")),
        ('[[rig.element]]\nkind="hook"\nlegs=1.5', DataError, ("whole number",)),
        ('[[rig.element]]\nkind="rope"\nefficiency=[1,2,3]', DataError, ("two numbers",)),
        ('[[rig.element]]\nkind="rope"\nside_load_deg="much"', DataError, ("expected a number",)),
        ('[[rig.element]]\nkind="hook"\nlegs=inf', DataError, ("legs", "expected a number")),
        ('[[rig.element]]\nkind="hook"\nshare=nan', DataError, ("share", "expected a number")),
        ("element = 3", DataError, ("[[rig.element]]",)),
        ("element = [3]", DataError, ("expected a table",)),
        ('[[rig.line]]\nmaterial="nylon"', DataError, ("length_m",)),
        ('[[rig.line]]\nlength_m=6\nstiffness="20 kN"', UnitError, ("stiffness", "20 kN/m")),
        ('[[rig.anchor]]\nkind="vehicle"', DataError, ("mass",)),
        ('[[rig.anchor]]\nkind="vehicle"\nmass="20 kN"', UnitError, ("mass", "is a force")),
        ('[[rig.anchor]]\nkind="vehicle"\nmass="2 t"\nsurface="lawn"', DataError, ("surface", "dry grass")),
        ('[[rig.anchor]]\nkind="tree"\nmass="2 t"\nfriction=0.5', UsageError, ("tree", "vehicle or block")),
        ('[[rig.anchor]]\nkind="vehicle"\nmass="2 t"\nbraked="some"', DataError, ("one axle",)),
        ('loading = "catapult"', UsageError, ("catapult", "winch")),
        ("margin = 0", UsageError, ("margin",)),
    ],
)
def test_mistakes_get_one_line_that_says_where(
    text: str, error: type[Exception], words: tuple[str, ...]
) -> None:
    """File, part and key are named, and what to write instead."""
    with pytest.raises(error) as caught:
        rig(text)

    assert str(caught.value).startswith("session.toml: ")
    assert "\n" not in str(caught.value)
    for word in words:
        assert word in str(caught.value)


def test_no_expected_peak_is_asked_for() -> None:
    """The check cannot invent it."""
    with pytest.raises(DataError, match="expected"):
        rig_from_table({})


_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
_keys = st.sampled_from(
    ["expected", "loading", "element", "line", "anchor", "margin", "dynamic_factor", "paid_out_m", "specimen"]
)
_part_keys = st.sampled_from(
    [
        "name",
        "kind",
        "wll",
        "breaking",
        "capacity",
        "legs",
        "leg_angle_deg",
        "ends",
        "mass",
        "length_m",
        "stretch",
    ]
)


@given(
    st.dictionaries(
        _keys, _values | st.lists(st.dictionaries(_part_keys, _values, max_size=5), max_size=2), max_size=6
    )
)
def test_whatever_is_written_gets_a_rig_or_one_of_our_errors(table: dict[str, object]) -> None:
    """No other exception escapes from any plain values."""
    try:
        described = rig_from_table(table, expected_n=(100.0, 200.0))
    except BreakyardError:
        return
    assert check_rig(described).to_json()["schema"] == "breakyard.rig/1"


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("300..500 kgf", 300 * KGF, 500 * KGF),
        ("300-500 kgf", 300 * KGF, 500 * KGF),
        ("2,5 to 3 kN", 2500.0, 3000.0),
        ("900 N..1 kN", 900.0, 1000.0),
        ("400 kgf", 400 * KGF, 400 * KGF),
    ],
)
def test_ranges_as_typed(text: str, low: float, high: float) -> None:
    """Two ends with one unit or two, or a single load."""
    assert parse_force_range(text) == pytest.approx((low, high))
    assert unit_of(text) in ("kgf", "kN")


@pytest.mark.parametrize(
    "text", ["500..300 kgf", "0 kgf", "-5 N", "300 kg", "300..500 kg", "300..500", "much", ""]
)
def test_ranges_that_make_no_sense(text: str) -> None:
    """Refused, with one line."""
    with pytest.raises((UnitError, UsageError)):
        parse_force_range(text)


def test_stiffness_and_loading_as_typed() -> None:
    """ "20 kN/m"; loadings with blanks, hyphens or capitals."""
    assert parse_stiffness("20 kN/m") == pytest.approx(20_000.0)
    assert find_loading("Slow-Vehicle").name == "slow vehicle"


@given(st.floats(1e-6, 1e9))
def test_three_digits_are_kept(value: float) -> None:
    """What is shown is the value to half a unit in its third digit, and never in an exponent."""
    shown = show_number(value)

    assert float(shown) == pytest.approx(value, rel=0.0051)
    assert "e" not in shown
    assert show_force(value, "N").endswith(" N")


def test_percent() -> None:
    """Whole percents from 10 on, two digits below."""
    assert [show_percent(share) for share in (1.304, 0.1, 0.0321, float("inf"))] == [
        "130 %",
        "10 %",
        "3.2 %",
        "unbounded",
    ]


def test_a_rod_end_is_described_by_its_static_load_rating() -> None:
    """The rating at which it begins to bend stands for its strength; half of it is its working load."""
    described = rig('[[rig.element]]\nkind = "rod end"\nstatic = "33 kN"')
    check = check_rig(described).elements[0]

    assert described.elements[0].breaking_n == pytest.approx(33_000.0)
    assert check.wll_n == pytest.approx(16_500.0)


@pytest.mark.parametrize(
    ("element", "words"),
    [
        ('kind = "shackle"\nstatic = "33 kN"', "rod end"),
        ('kind = "rod end"\nstatic = "33 kN"\nbreaking = "40 kN"', "in place of breaking"),
        ('kind = "shackle"\nwll = "1 tf"\nlink = true', "a cell that takes"),
        ('kind = "cell"\ncapacity = "1 tf"\nlink = "yes"', "a cell that takes"),
        ('kind = "shackle"\nwll = "1 tf"\nshoulder = true', "an eyebolt whose shoulder"),
    ],
)
def test_ratings_of_the_joints_at_the_wrong_part(element: str, words: str) -> None:
    """One line says where such a key belongs."""
    with pytest.raises(DataError, match=words):
        rig(f"[[rig.element]]\n{element}")


def test_the_stop_load_is_described() -> None:
    """With its unit; the command line's goes before the description's."""
    assert rig('stop = "600 kgf"').stop_n == pytest.approx(600 * KGF)
    assert rig('stop = "600 kgf"', stop_n=500.0).stop_n == 500.0


@pytest.mark.parametrize(
    ("more", "remarked"),
    [
        ("", True),
        ("link = true", False),
        ('[[rig.element]]\nkind = "eyebolt"\nwll = "1 tf"', False),
        ('[[rig.element]]\nkind = "rod end"\nstatic = "33 kN"', False),
    ],
)
def test_a_cell_without_eye_or_rod_end_is_remarked(more: str, remarked: bool) -> None:
    """What is screwed into an S-cell is a part of the line; a link cell has none."""
    check = check_rig(rig(f'[[rig.element]]\nkind = "cell"\ncapacity = "1 tf"\n{more}'))

    assert ("cell_joint" in [finding.code for finding in check.findings]) == remarked


def test_blocks_between_cell_and_specimen_are_asked_for_and_carried_on() -> None:
    """A block of which nobody says where it is is asked about; one between cell and specimen has its friction (9 % if
    none is stated) and its mass in every result; wrong values and other parts are refused in one line."""
    block = {"kind": "block", "name": "snatch block", "wll": "2 tf", "turn_deg": 90}
    table = {"expected": "300..500 kgf", "element": [block]}

    def codes(**more: object) -> list[str]:
        rig = rig_from_table(table | {"element": [block | more]})
        return [finding.code for finding in check_rig(rig).findings]

    assert "block_where" in codes()
    assert "block_between" in codes(between=True)
    assert not {"block_where", "block_between"} & set(codes(between=False))
    assert blocks_between({"element": [block | {"between": True}]}) == (("snatch block", 0.09, 0.0),)
    stated = block | {"between": True, "friction": [0.04, 0.06], "mass": "3 kg"}
    assert blocks_between({"element": stated}) == (("snatch block", 0.06, 3.0),)
    assert blocks_between(table) == ()
    wrongs: tuple[dict[str, object], ...] = (
        {"between": "yes"},
        {"between": True, "friction": 2},
        {"between": True, "mass": 3},
        {"kind": "hook", "between": True},
    )
    for wrong in wrongs:
        with pytest.raises(DataError, match="snatch block"):
            rig_from_table(table | {"element": [block | wrong]})
