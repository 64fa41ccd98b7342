"""Which slips of the clock the extra pulses show, and which they cannot: a model of the chip loses or doubles a pulse.

What is not seen here is left to logger/core/faults.py (test_faults.py) and to the host's search for samples that
no force can have made.
"""

from converter_rig import Rig

from logger.drivers.converter import GOOD, OUT_OF_STEP

EVEN = 0x2AAAAC  # of about a third of full scale, so that any shift is far from it
ODD = 0x2AAAAD
KINDS = ("gpio", "pio", "spi")


def readings(kind, chosen, counts):
    """A driver that has settled on an input, before a converter whose counts do not change."""
    rig = Rig(kind, counts=(counts,))
    rig.driver.select(chosen)
    rig.run(200)
    return rig


def one_reading(rig, lost=0, double=0):
    """(counts, quality) of a reading with a slip; a sound one follows."""
    rig.chip.lost_pulse = lost
    rig.chip.double_pulse = double
    found = []
    while not found:
        found = rig.run(2)
    rig.chip.lost_pulse = rig.chip.double_pulse = 0
    after = rig.run(20)
    assert {sample[2] for sample in after[-2:]} == {GOOD}
    return found[0][1], found[0][2]


def test_a_lost_pulse_shows_where_the_last_bit_is_zero():
    """The first extra pulse reads the last bit in place of a one; in 25 pulses and all before the last of 26, 27."""
    for kind in KINDS:
        for chosen in (1, 2, 3):
            for counts, quality in ((EVEN, OUT_OF_STEP), (ODD, GOOD)):
                rig = readings(kind, chosen, counts)
                for lost in range(1, 26):
                    assert one_reading(rig, lost)[1] == quality, (kind, chosen, counts, lost)


def test_a_lost_pulse_that_only_chooses_the_input_does_not_show():
    """The 26th of 26 or 27, the 27th of 27: the count is right, and the next conversion is of another input."""
    for kind in KINDS:
        for chosen, lost in ((2, 26), (3, 26), (3, 27)):
            for counts in (EVEN, ODD):
                assert one_reading(readings(kind, chosen, counts), lost) == (counts, GOOD)


def test_a_pulse_taken_for_two_never_shows():
    """All that follows is ones, as it should be; but then the last bit is a one too: an even count has none."""
    for kind in KINDS:
        for chosen in (1, 2, 3):
            for counts in (EVEN, ODD):
                rig = readings(kind, chosen, counts)
                for double in range(1, 26):
                    got, quality = one_reading(rig, 0, double)
                    assert quality == GOOD
                    assert got & 1 or double == 25, (kind, chosen, double)


def test_what_is_not_shown_is_off_by_at_most_what_is_behind_the_slip():
    """A pulse slipped at place k leaves the k - 1 bits before it right."""
    rig = readings("pio", 1, ODD)
    for place in range(2, 25):
        for lost, double in ((place, 0), (0, place)):
            got, _ = one_reading(rig, lost, double)
            assert (got ^ ODD) >> (25 - place) == 0
