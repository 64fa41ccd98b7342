"""The real board files of the Pico W and the ESP32 are started on stand-ins: what is slow comes before the watchdog.

A radio takes 15 s to start (the limit of the Pico W's stack), reading what is on the flash 10 s; the watchdog
bites after what it was told. Then the app runs until it has fed it. Arguments: the board's name, a folder; with
"early" as a third the watchdog begins before the radio, which must not pass.
"""

import asyncio
import sys
import time as real_time

NAME, FOLDER = sys.argv[1], sys.argv[2]
now_us = 0
events = []
levels = {}


class Bite(Exception):
    """No firmware catches it."""


def pass_time(microseconds):
    global now_us  # noqa: PLW0603
    now_us += microseconds
    if WDT.fed_us >= 0 and now_us - WDT.fed_us > WDT.timeout_us:
        raise Bite("the watchdog bites after " + repr(events))


class WDT:
    fed_us = -1
    feeds = 0

    def __init__(self, timeout):
        WDT.timeout_us = timeout * 1000
        WDT.fed_us = now_us
        events.append("watchdog")

    def feed(self):
        pass_time(0)
        WDT.fed_us = now_us
        WDT.feeds += 1


class Pin:
    IN = OUT = PULL_UP = IRQ_FALLING = 1

    def __init__(self, number, *_):
        self.number = number

    def __call__(self, *level):
        if level:
            levels[self.number] = level[0]
        return 1

    def irq(self, *_, **more):
        pass


class Anything:
    """Stands for parts that this test does not look at."""

    def __init__(self, *_, **more):
        pass

    def nothing(self, *_, **more):
        return 0

    init = exec = put = active = tx_fifo = config = pack_ctrl = nothing
    write = write_readinto = read_u16 = nothing
    count = 0


class Esp32Adc(Anything):
    """Reads to 0.95 V until it is told to attenuate."""

    ATTN_11DB = 3
    attenuation = 0

    def atten(self, value):
        Esp32Adc.attenuation = value


class BLE:
    def active(self, on):
        events.append("radio starts")
        pass_time(15000000)

    def nothing(self, *_, **more):
        pass

    irq = config = gatts_set_buffer = gatts_write = gap_advertise = nothing

    def gatts_register_services(self, services):
        return ((1, 2), (3, 4, 5), (6,))


def module(**names):
    made = type("Module", (), {})
    for name in names:
        setattr(made, name, staticmethod(names[name]) if isinstance(names[name], FUNCTION) else names[name])
    return made


FUNCTION = type(pass_time)  # a class would bind it otherwise


def zero(*_):
    return 0


REASON = {}
for argument in sys.argv[3:]:
    if argument.startswith("reason="):
        REASON[0x40058008] = REASON[0x400D8008] = int(argument[7:])


def reset_cause():
    return 3 if REASON else 0


def ticks_us():
    return now_us & 0x3FFFFFFF


def ticks_ms():
    return now_us // 1000 & 0x3FFFFFFF


def ticks_diff(later, earlier):
    return later - earlier


def unique_id():
    return bytes(8)


def identity(value):
    return value


def cpu_hertz():
    return 125000000


def asm_pio(**options):
    return identity


sys.modules["machine"] = module(
    WDT=WDT,
    Pin=Pin,
    ADC=Esp32Adc if "esp32" in NAME else Anything,
    SPI=Anything,
    reset_cause=reset_cause,
    WDT_RESET=3,
    mem32=REASON,
    unique_id=unique_id,
    freq=cpu_hertz,
)
sys.modules["micropython"] = module(const=identity, alloc_emergency_exception_buf=zero, kbd_intr=zero)
sys.modules["bluetooth"] = module(BLE=BLE, UUID=identity)
sys.modules["esp32"] = module(raw_temperature=zero)
sys.modules["uctypes"] = module(addressof=zero)
rp2 = module(StateMachine=Anything, DMA=Anything, asm_pio=asm_pio)
rp2.PIO = module(OUT_LOW=2, SHIFT_LEFT=0)
sys.modules["rp2"] = rp2
sys.modules["time"] = module(ticks_us=ticks_us, ticks_ms=ticks_ms, ticks_diff=ticks_diff, sleep_us=pass_time)

from logger.app import App  # noqa: E402
from logger.boards import common  # noqa: E402
from logger.drivers import flash_files  # noqa: E402

common.RUNS_FOLDER = FOLDER
common.SETTINGS_PATH = FOLDER + ".txt"
with open(common.SETTINGS_PATH, "w") as settings:
    settings.write("battery_pin = 32\n")
sizes = flash_files.FlashFiles.sizes


def slow_sizes(self):
    events.append("flash is looked at")
    pass_time(10000000)
    return sizes(self)


flash_files.FlashFiles.sizes = slow_sizes
if "early" in sys.argv:
    links = common.radio_links

    def early(*arguments):
        WDT(common.WATCHDOG_MS)
        return links(*arguments)

    common.radio_links = early
board = __import__("logger.boards." + NAME, None, None, ("Board",)).Board()


async def until_fed():
    app = asyncio.create_task(App(board).run())
    started = real_time.ticks_ms()
    while WDT.feeds < 3:
        pass_time(1000)
        await asyncio.sleep_ms(1)
        if real_time.ticks_diff(real_time.ticks_ms(), started) > 60000:
            raise RuntimeError("nobody feeds the watchdog")
    app.cancel()


asyncio.run(until_fed())
print(", ".join(events))
if "esp32" in NAME:
    print("attenuation", Esp32Adc.attenuation)
else:
    print("regulator", levels.get("WL_GPIO1"))
if REASON:
    print("reset cause", board.reset_cause)
