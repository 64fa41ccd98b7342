"""Overload, health, lamp with its mark, button, watchdog and the lines of a crash."""

from struct import unpack_from

from firmware_support import Logger, end_of, split_frames

from logger import crash
from logger.core import layout, record
from logger.core.outbox import Outbox
from logger.core.signals import OVERLOAD, pattern
from logger.drivers.sensors import Battery, fahrenheit_to_cdeg, rp2_temperature_cdeg
from logger.upkeep import Upkeep


class Board:
    """A board with everything; remembers what was done to it."""

    reset_cause = layout.RESET_WATCHDOG
    low_battery_mv = 3500

    def __init__(self, logger, files=None):
        self.ticks_us = lambda: logger.ticks
        self.files = files
        self.voltage = 4000
        self.down = False
        self.lamps = []
        self.sounds = []
        self.fed = 0
        self.lamp = Switch(self.lamps)
        self.buzzer = Switch(self.sounds)
        self.button = self.battery = self.watchdog = self

    def pressed(self):
        down = self.down
        self.down = False
        return down

    def millivolts(self):
        return self.voltage

    def temperature_cdeg(self):
        return -512

    def free_memory(self):
        return 70000

    def feed(self):
        self.fed += 1


class Switch:
    def __init__(self, seen):
        self.set = seen.append


class Rig:
    def __init__(self, files=None, **settings):
        self.logger = Logger(step_us=10000)
        for name in settings:
            setattr(self.logger.settings, name, settings[name])
        self.board = Board(self.logger, files)
        self.upkeep = Upkeep(self.board, self.logger.recorder)

    def samples(self, counts, number):
        for _ in range(number):
            self.logger.sample(counts)
            self.upkeep.sampled = True
            self.upkeep.step()

    def lines(self):
        return [text for _, text in self.logger.recorder.log]


def test_overload_at_capacity_and_at_120_percent():
    rig = Rig(capacity_counts=1000000)
    recorder = rig.logger.recorder
    rig.samples(500, 30)
    assert recorder.arm() == layout.ERROR_OK
    rig.samples(500, 30)
    rig.samples(1000500, 20)
    assert recorder.overload == layout.OVERLOAD_NONE
    rig.samples(1000501, 1)
    assert recorder.overload == layout.OVERLOAD_NONE  # one alone may be a glitch
    rig.samples(1000501, 2)
    assert recorder.overload == layout.OVERLOAD_CAPACITY
    rig.samples(-1199501, 5)
    assert recorder.overload == layout.OVERLOAD_ABOVE_120_PERCENT
    rig.samples(500, 600)
    assert recorder.overload == layout.OVERLOAD_ABOVE_120_PERCENT  # until armed again
    rig.logger.finish()

    assert rig.logger.records(1)[-1][76] == layout.OVERLOAD_ABOVE_120_PERCENT
    told = [line for line in rig.lines() if "OVERLOAD" in line]
    assert told == [f"OVERLOAD: over {percent} % of the cell's capacity" for percent in (100, 120)]
    recorder.arm()
    assert recorder.overload == layout.OVERLOAD_NONE


def test_the_stop_load_calls_before_the_capacity():
    """It has a number of its own; what the cell can bear stays what it is, and still calls when it is passed."""
    rig = Rig(alarm_counts=600000, capacity_counts=1000000)
    recorder = rig.logger.recorder
    rig.samples(0, 30)
    assert recorder.arm() == layout.ERROR_OK
    rig.samples(0, 30)
    rig.samples(600000, 20)
    assert recorder.overload == layout.OVERLOAD_NONE
    rig.samples(600001, 1)
    assert recorder.overload == layout.OVERLOAD_NONE  # one alone may be a glitch
    rig.samples(600001, 2)
    assert recorder.overload == layout.OVERLOAD_ALARM
    rig.samples(1000001, 2)
    assert recorder.overload == layout.OVERLOAD_CAPACITY
    rig.samples(700000, 5)
    assert recorder.overload == layout.OVERLOAD_CAPACITY
    rig.samples(1200001, 2)
    assert recorder.overload == layout.OVERLOAD_ABOVE_120_PERCENT
    told = [line for line in rig.lines() if "OVERLOAD" in line or "STOP" in line]
    assert told[0] == "STOP LOAD reached: break the pull off"
    assert len(told) == 3


def test_a_stop_load_alone_calls_and_lights_the_lamp():
    """Without a capacity too; and a jump over both says the higher."""
    rig = Rig(alarm_counts=600000)
    rig.samples(0, 30)
    rig.logger.recorder.arm()
    rig.samples(0, 30)
    rig.samples(8000000, 3)
    assert rig.logger.recorder.overload == layout.OVERLOAD_ALARM
    assert pattern(layout.STATE_RECORDING, layout.OVERLOAD_ALARM, False) == OVERLOAD

    rig = Rig(alarm_counts=600000, capacity_counts=1000000)
    rig.samples(0, 30)
    rig.logger.recorder.arm()
    rig.samples(0, 30)
    rig.samples(8000000, 3)
    assert rig.logger.recorder.overload == layout.OVERLOAD_ABOVE_120_PERCENT


def test_overload_is_seen_after_a_run_too():
    rig = Rig(capacity_counts=1000000)
    rig.samples(0, 30)
    rig.logger.recorder.arm()
    rig.samples(0, 30)
    rig.logger.recorder.stop(rig.logger.ticks)
    rig.samples(1100000, 3)

    assert rig.logger.recorder.state == layout.STATE_IDLE
    assert rig.logger.recorder.overload == layout.OVERLOAD_CAPACITY


def test_without_a_capacity_there_is_no_alarm():
    rig = Rig()
    rig.samples(0, 30)
    rig.logger.recorder.arm()
    rig.samples(0, 30)
    rig.samples(8000000, 30)

    assert rig.logger.recorder.overload == layout.OVERLOAD_NONE


def test_health_goes_into_the_end_of_the_run():
    rig = Rig()
    rig.samples(0, 100)
    rig.logger.recorder.start(rig.logger.ticks)
    rig.samples(0, 200)
    rig.board.voltage = 3400
    rig.samples(0, 30)
    rig.board.voltage = 3900
    rig.samples(0, 30)
    rig.logger.recorder.stop(rig.logger.ticks)
    rig.logger.finish()
    end = rig.logger.records(1)[-1]
    overload, lowest = unpack_from("<BH", end, 76)
    temperature = (end[79] | end[80] << 8 | end[81] << 16) - (1 << 24)
    high, free, cause = unpack_from("<HIB", end, 82)

    assert (overload, lowest, temperature) == (0, 3400, -512)
    assert 1 <= high <= 16
    assert (free, cause) == (70000, layout.RESET_WATCHDOG)
    assert end_of([end])["samples"] == 260
    assert [line for line in rig.lines() if "battery low" in line] == ["battery low: 3400 mV"]


def test_health_is_in_the_status():
    """Uptime is the device time in it; the dip stays after the supply is back."""
    rig = Rig()
    rig.samples(0, 300)
    rig.board.voltage = 3300
    rig.samples(0, 30)
    rig.board.voltage = 3900
    rig.samples(0, 170)
    rig.logger.recorder.missed = 3
    outbox = Outbox(rig.logger.recorder)
    outbox.stream(True)
    packet = bytearray(2000)
    records = split_frames(bytes(packet[: outbox.fill(packet, 2000, rig.logger.ticks)]))
    (status,) = [one for one in records if one[0] == layout.KIND_STATUS]
    fields = record.unpack(
        bytearray(status), layout.HEADER, len(status) - layout.TRAILER, layout.FIELDS_STATUS
    )

    assert fields[1:3] == [5, 0]
    assert fields[8] == 3
    assert fields[14:16] == [0, layout.OVERLOAD_NONE]
    assert fields[16:19] == [3900, 3300, -512]
    assert fields[20:22] == [70000, layout.RESET_WATCHDOG]


def test_samples_that_wait_show_in_the_high_water_mark():
    rig = Rig()
    rig.samples(0, 100)
    rig.logger.recorder.start(rig.logger.ticks)
    rig.samples(0, 50)
    for _ in range(70):  # the writer does not come to it
        rig.logger.ticks += 10000
        rig.logger.recorder.push(0, rig.logger.ticks, 0, 0)
    rig.samples(0, 50)

    assert 70 <= rig.logger.recorder.health.ring_high <= 72


def test_the_flash_is_marked_at_the_moment_at_which_the_lamp_went_on():
    rig = Rig()
    rig.samples(0, 100)
    rig.logger.recorder.arm()
    rig.samples(0, 60)
    rig.samples(90000, 1)
    rig.board.lamps.clear()
    lit_at = 0
    for _ in range(60):
        before = len(rig.board.lamps)
        rig.samples(90000, 1)
        if len(rig.board.lamps) > before and rig.board.lamps[-1] == 1 and not lit_at:
            lit_at = rig.logger.ticks
    rig.samples(0, 700)
    rig.logger.finish()
    marks = [record for record in rig.logger.records(1) if record[0] == layout.KIND_MARK]
    second, microsecond, code = unpack_from("<IIB", marks[0], 8)

    assert len(marks) == 1
    assert marks[0][17:-4] == b"\x05flash"
    assert code == layout.MARK_VIDEO
    assert second * 1000000 + microsecond == lit_at
    assert 1 in rig.board.sounds


def test_the_button_arms_and_stops():
    rig = Rig()
    rig.samples(0, 30)
    rig.board.down = True
    rig.samples(0, 1)
    assert rig.logger.recorder.state == layout.STATE_ARMED
    rig.board.down = True
    rig.samples(0, 1)
    assert rig.logger.recorder.state == layout.STATE_IDLE
    assert rig.lines()[-2:] == ["armed by the button", "stopped by the button"]


def test_the_watchdog_is_fed_only_while_samples_are_looked_for():
    rig = Rig()
    rig.samples(0, 50)
    assert rig.board.fed == 50
    for _ in range(20):
        rig.upkeep.step()
    assert rig.board.fed == 50


class CrashFiles:
    def __init__(self):
        self.files = {}

    def replace(self, name, data):
        self.files[name] = data

    def read(self, name, offset, buffer):
        if name not in self.files:
            raise OSError(2)
        data = self.files[name][: len(buffer)]
        buffer[: len(data)] = data
        return len(data)

    def remove(self, name):
        if name not in self.files:
            raise OSError(2)
        del self.files[name]


def test_a_crash_is_told_after_the_restart_until_somebody_took_the_lines():
    files = CrashFiles()
    try:
        {}["what is missing"]
    except KeyError as error:
        crash.keep(files, error)
    rig = Rig(files=files)
    rig.samples(0, 10)

    assert rig.lines()[0] == "restarted after a crash:"
    assert "what is missing" in rig.lines()[-1]
    assert [line for line in rig.lines() if "test_upkeep.py" in line]
    assert max([len(line) for line in rig.lines()]) <= layout.MAX_TEXT
    assert files.files
    rig.logger.recorder.log = []  # a link took them
    rig.samples(0, 1)
    assert not files.files
    assert Rig(files=files).lines() == []


def test_sensors():
    """Against the formula of the RP2040's data sheet, and a divider by two."""

    class Adc:
        raw = 0

        def read_u16(self):
            return self.raw

    class Microvolts(Adc):
        def read_uv(self):
            return 1850000

    class Attenuated(Microvolts):
        ATTN_11DB = 3
        said = 0

        def atten(self, value):
            self.said = value

        def read_uv(self):
            return 1850000 if self.said == self.ATTN_11DB else 950000

    for raw in (13000, 14000, 15000):
        volts = raw * 3.3 / 65535
        assert abs(rp2_temperature_cdeg(raw) - 100 * (27 - (volts - 0.706) / 0.001721)) < 5
    Adc.raw = 40000
    assert abs(Battery(Adc(), 2000).millivolts() - 2 * 40000 * 3300 / 65535) <= 2
    assert Battery(Microvolts(), 2000).millivolts() == 3700
    assert Battery(Attenuated(), 2000).millivolts() == 3700  # an ESP32 reads to 0.95 V unless told
    assert fahrenheit_to_cdeg(212) == 10000


def test_the_same_crash_again_is_not_written_again():
    """A board that crashes at each start must not wear the flash out."""
    files = CrashFiles()
    writes = []
    files.replace = lambda name, data: (writes.append(data), files.files.__setitem__(name, data))
    for what in ("one", "one", "another"):
        crash.keep(files, ValueError(what))

    assert len(writes) == 2
    assert b"another" in writes[1]


def test_a_crash_that_cannot_be_written_down_hinders_nobody():
    """No room on the flash, no memory for the text: whoever calls goes on to the restart."""

    def full(name, data):
        raise OSError(28)

    def no_memory(*_):
        raise MemoryError

    files = CrashFiles()
    files.replace = full
    crash.keep(files, ValueError("full"))
    files.replace = no_memory
    crash.keep(files, ValueError("no memory"))
    files = CrashFiles()
    text = crash._text
    crash._text = no_memory
    try:
        crash.keep(files, ValueError("what"))
    finally:
        crash._text = text

    assert crash.lines(files) == ["restarted after a crash:", "no memory to say what happened"]
