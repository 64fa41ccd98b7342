"""The SPI driver against the pins of the stand-in chip. What is assumed of a real SPI stands in the driver."""

from converter_rig import Rig

from logger.drivers.converter import GOOD, LATE, OUT_OF_STEP, RAIL, SETTLING
from logger.drivers.hx711_esp32 import Hx711Spi

COUNTS = (0, 1, -1, 8388606, -8388607, 0x555555, -0x555556, 0x123456)


class Spi:
    """Takes down what is sent, and answers with given bytes."""

    def __init__(self, answer):
        self.answer = answer
        self.sent = []

    def write_readinto(self, sent, taken):
        self.sent.append(bytes(sent))
        taken[:] = self.answer


class ReadyPin:
    """A data line that is low."""

    def __call__(self):
        return 0

    def irq(self, handler, trigger):
        self.handler = handler


def levels(sent):
    """The levels of a transfer, bit by bit."""
    return [byte >> i & 1 for byte in sent for i in range(7, -1, -1)]


def test_counts_and_times_are_exact():
    rig = Rig("spi", 10123, COUNTS)
    found = rig.run(170)

    assert [sample[1] for sample in found] == [COUNTS[i % 8] for i in range(len(found))]
    assert [sample[0] for sample in found] == [10123 * (i + 1) for i in range(len(found))]
    assert [sample[2] for sample in found] == [SETTLING] * 4 + [GOOD] * (len(found) - 4)


def test_each_input_has_its_number_of_equal_levels():
    """25, 26, 27 pulses, each one bit high and one low; low at the end of the transfer."""
    for chosen in (1, 2, 3):
        spi = Spi(b"\xff" * 7)
        driver = Hx711Spi(ReadyPin(), spi, 4, lambda: 0)
        driver.select(chosen)
        assert driver.poll()
        bits = levels(spi.sent[0])
        number = 24 + chosen
        assert bits == [1, 0] * number + [0] * (56 - 2 * number)


def test_rails_and_settling_after_a_change_of_input():
    rig = Rig("spi", 6667, (8388607, -8388608, 5))
    rig.run(60)
    assert {sample[2] for sample in rig.run(60)} == {RAIL, GOOD}
    for chosen in (2, 3, 1):
        rig.driver.select(chosen)
        assert [sample[2] for sample in rig.run(60)[:5]] == [SETTLING] * 5


def test_halves_of_a_pulse_that_differ_are_out_of_step():
    """The line may not change within a pulse; a bit that does is no data."""
    for place in range(6):
        answer = bytearray(b"\x33" * 6 + b"\xff")
        good = Hx711Spi(ReadyPin(), Spi(bytes(answer)), 4, lambda: 0)
        answer[place] ^= 0x10
        bad = Hx711Spi(ReadyPin(), Spi(bytes(answer)), 4, lambda: 0)
        assert good.poll()
        assert bad.poll()

        assert good.quality == SETTLING
        assert good.counts == 0x555555
        assert bad.quality == OUT_OF_STEP


def test_an_extra_pulse_that_reads_zero_is_out_of_step():
    for chosen, last in ((1, 0x3F), (2, 0xCF), (3, 0xF3)):
        driver = Hx711Spi(ReadyPin(), Spi(b"\x00" * 6 + bytes([last])), 4, lambda: 0)
        driver.select(chosen)
        assert driver.poll()
        assert driver.quality == OUT_OF_STEP


def test_a_moment_taken_late_is_told():
    """After an erase the handler runs late: counted, LATE, and the period is as before."""
    rig = Rig("spi", 10000)
    rig.run(215)
    rig.stall(48)
    found = rig.run(100)

    assert found[0][3] == 4
    assert found[0][2] == LATE
    assert [sample[3] for sample in found[1:]] == [0] * (len(found) - 1)
    assert rig.driver.period_us == 10000
    assert rig.chip.lost == 4
