"""Known loads as people type them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.calibration import Air, KnownLoad, parse_load, parse_loads, reference_load, stated_gravity
from breakyard.calibration.known_loads import Piece
from breakyard.calibration.weight import water_density
from breakyard.document import from_plain, to_plain
from breakyard.errors import BreakyardError, UnitError

GRAVITY = stated_gravity(9.81, 0.0)
AIR = Air(1.2, 0.0, "stated")


def newtons(text: str) -> float:
    return parse_load(text).force(GRAVITY, AIR).newtons


@pytest.mark.parametrize(
    ("text", "kilograms"),
    [
        ("20 kg", 20.0),
        ("20kg", 20.0),
        ("20,5 kg", 20.5),
        ("3 x 20 kg", 60.0),
        ("3x20 kg", 60.0),
        ("45 lb", 45 * 0.45359237),
        ("500 g + 2 kg", 2.5),
        ("20 kg + 2 x 10 kg + 1 kg", 41.0),
        ("0", 0.0),
        ("empty", 0.0),
        ("0 kg", 0.0),
        ("20 kg +- 0.1 kg", 20.0),
        ("20 kg ± 0,1 kg", 20.0),
        ("20 kg of iron", 20.0),
    ],
)
def test_masses(text: str, kilograms: float) -> None:
    """Counts, sums, units, decimal commas and uncertainties are understood."""
    assert parse_load(text).kilograms == pytest.approx(kilograms, rel=1e-12)


def test_water_by_volume() -> None:
    """20 L at 12 C weigh by Tanaka's density, with the buoyancy of water; the can was on a scale."""
    expected = 9.81 * (
        20e-3 * water_density(12.0) * (1 - 1.2 / water_density(12.0)) + 0.9 * (1 - 1.2 / 8000.0)
    )

    assert newtons("20 L water at 12 C + 0.9 kg") == pytest.approx(expected, rel=1e-12)
    assert newtons("20000 ml water at 12 °C + 900 g") == pytest.approx(expected, rel=1e-12)


def test_buoyancy_by_material() -> None:
    """A mass of named material is a true mass; without one it is what a scale showed (8000 kg/m3)."""
    assert newtons("20 kg concrete") == pytest.approx(20 * 9.81 * (1 - 1.2 / 2400))
    assert newtons("20 kg") == pytest.approx(20 * 9.81 * (1 - 1.2 / 8000))


def test_limits_become_rectangles() -> None:
    """ "+-" is a limit (divided by root three); "(k=2)" is divided by two."""
    assert parse_load("20 kg +- 0.3 kg").pieces[0].standard_kg == pytest.approx(0.3 / math.sqrt(3))
    assert parse_load("20 kg +- 300 g").pieces[0].standard_kg == pytest.approx(0.3 / math.sqrt(3))
    assert parse_load("20 kg +- 1.5 %").pieces[0].standard_kg == pytest.approx(0.3 / math.sqrt(3))
    assert parse_load("20 kg +- 0.3 kg (k=2)").pieces[0].standard_kg == pytest.approx(0.15)


def test_the_same_piece_errs_the_same_way() -> None:
    """20 kg and 2 x 20 kg share their first piece; a 40 kg piece is another one."""
    one, two, other = (
        parse_load(text).force(GRAVITY, AIR).sources
        for text in ("20 kg +- 0.1 kg", "2 x 20 kg +- 0.1 kg", "40 kg +- 0.1 kg")
    )

    assert len(set(one) & set(two)) == 1
    assert len(set(two)) == 2
    assert not set(one) & set(other)


def test_names_tell_pieces_of_equal_mass_apart() -> None:
    """[red] and [blue] of 20 kg are independent, [red] is itself everywhere."""
    red, blue, both = (
        parse_load(text).force(GRAVITY, AIR).sources
        for text in (
            "20 kg +- 0.1 kg [red]",
            "20 kg +- 0.1 kg [blue]",
            "20 kg +- 0.1 kg [red] + 20 kg +- 0.1 kg [blue]",
        )
    )

    assert not set(red) & set(blue)
    assert set(both) == set(red) | set(blue)


def test_a_lever_multiplies_and_adds_its_doubt() -> None:
    """ "via 5.02:1 +- 1 %" multiplies the weight, and its limit is shared by all loads on it."""
    plain, levered = parse_load("20 kg +- 0 kg"), parse_load("20 kg +- 0 kg via 5.02:1 +- 1 %")
    force = levered.force(GRAVITY, AIR)

    assert force.newtons == pytest.approx(5.02 * plain.force(GRAVITY, AIR).newtons)
    assert force.sources["lever ratio"] == pytest.approx(force.newtons * 0.01 / math.sqrt(3))
    assert parse_load("20 kg via 5:1").ratio_assumed


def test_unstated_uncertainty_is_assumed_and_common() -> None:
    """Nobody knows a mass exactly: 3 % is taken, the same way for all or each for itself."""
    one, other = parse_load("20 kg"), parse_load("45 lb")

    assert one.pieces[0].assumed
    assert one.pieces[0].standard_kg == pytest.approx(20 * 0.03 / math.sqrt(3))
    assert one.pieces[0].source == other.pieces[0].source
    assert not parse_load("20 kg", mass_limit=0.001).pieces[0].assumed


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("196 N", "a force"),
        ("20 kgf", "a force"),
        ("20", "needs a unit"),
        ("twenty kg", "cannot be read"),
        ("20 stone", "unknown unit of mass"),
        ("20 kg unobtainium", "unknown material"),
        ("20 L beer", "water only"),
        ("20 L water at 80 C", "0 to 40 C"),
        ("20 kg at 12 C", "a temperature belongs to water"),
        ("20 L water +- 1 kg", "a volume or a percentage"),
        ("20 kg via 0:1", "above zero"),
        ("", "cannot be read"),
        ("20 kg +", "cannot be read"),
        ("-20 kg", "cannot be read"),
    ],
)
def test_one_clear_line_for_what_cannot_be_meant(text: str, said: str) -> None:
    """A force where a mass belongs, and every other slip, is told in one line."""
    with pytest.raises(ValueError, match=said) as caught:
        parse_load(text)

    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "kilograms"),
    [
        ("0, 20 kg, 40 kg, 20 kg, 0", [0, 20, 40, 20, 0]),
        ("0; 20,5 kg; 41 kg; 0", [0, 20.5, 41, 0]),
        ("0, 20,5 kg, 0", [0, 20.5, 0]),
        ("0 ,20 kg ,0 ,", [0, 20, 0]),
    ],
)
def test_sequences(text: str, kilograms: list[float]) -> None:
    """Commas or semicolons part the loads; a comma between digits is a decimal comma where it can be nothing else."""
    assert [load.kilograms for load in parse_loads(text)] == pytest.approx(kilograms)


@pytest.mark.parametrize(
    "text", ["0,20kg,40kg", "0,20 kg,3 x 20 kg,0", "0, 20 kg, 0,5 kg", "20 kg +- 1,5 kg, 0"]
)
def test_a_comma_that_could_be_both_is_refused(text: str) -> None:
    """ "0,20kg" is 0.20 kg or an empty hook and 20 kg: nobody guesses, and the way out is said."""
    with pytest.raises(UnitError, match=r"two ways.*;"):
        parse_loads(text)
    assert len(parse_loads(text.replace(",", ";"))) > 1


def test_a_bad_load_in_a_sequence_is_numbered() -> None:
    """The message says which load cannot be read."""
    with pytest.raises(UnitError, match=r"load 3 of the sequence.*a force"):
        parse_loads("0, 20 kg, 400 N, 0")


@given(st.text(max_size=40))
def test_any_text_gives_a_load_or_one_line(text: str) -> None:
    """Nothing but the tool's own errors comes out of the parser."""
    try:
        loads = parse_loads(text)
    except BreakyardError:
        return

    assert all(load.kilograms >= 0.0 for load in loads)


@given(
    st.lists(
        st.tuples(st.integers(1, 9), st.floats(0.1, 500.0), st.sampled_from(["kg", "lb", "g"])),
        min_size=1,
        max_size=4,
    )
)
def test_loads_survive_json(items: list[tuple[int, float, str]]) -> None:
    """Text and back keeps every stated fact."""
    load = parse_load(" + ".join(f"{n} x {value:.4f} {unit} +- 1 %" for n, value, unit in items))

    assert from_plain(KnownLoad, to_plain(load)) == load


def test_a_load_says_only_what_it_has() -> None:
    """A lever or a reference stands in the document whole, or not at all: so a calibration's hash never moves."""
    mass = {"kilograms": 20.0, "source": "mass x", "assumed": False, "density_kg_m3": 8000.0}
    load = KnownLoad("20 kg via 5:1", (Piece(20.0, 0.0, "mass x"),), ratio=5.0)

    assert to_plain(KnownLoad("0", reference_name="unused", ratio_assumed=True)) == {"text": "0"}
    assert to_plain(load) == {
        "text": "20 kg via 5:1",
        "pieces": [mass | {"standard_kg": 0.0}],
        "lever": {"ratio": 5.0, "standard": 0.0, "assumed": False},
    }
    assert to_plain(reference_load(100.0, 0.5, name="cell"))["reference"] == {
        "force_n": 100.0,
        "standard_n": 0.5,
        "shared_relative": 0.0,
        "name": "cell",
    }
