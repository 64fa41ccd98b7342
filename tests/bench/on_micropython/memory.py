"""What the whole firmware takes of the heap, as far as it can be had without a board. Prints bytes.

Everything that a Pico W loads, but for the two drivers' calls of the hardware: App, recorder, store on flash,
links by USB and Bluetooth with their commands and outboxes. Bytecode is on the heap, as it is on a board that
runs .py or .mpy files from its file system.
"""

import gc
import sys


class Rp2:
    """Enough of the module to load the driver."""

    class PIO:
        OUT_LOW = 2
        SHIFT_LEFT = 0

    @staticmethod
    def asm_pio(**options):
        return lambda function: function


class Os:
    """The WebAssembly build's os has no random numbers."""

    @staticmethod
    def urandom(number):
        return bytes(number)


sys.modules["rp2"] = Rp2
sys.modules["os"] = Os
gc.collect()
START = gc.mem_alloc()

from logger import crash  # noqa: E402, F401
from logger.app import App  # noqa: E402
from logger.core import auth  # noqa: E402
from logger.core.commands import Commands  # noqa: E402
from logger.core.flash_store import FlashStore  # noqa: E402
from logger.core.inbox import Inbox  # noqa: E402
from logger.core.outbox import Outbox  # noqa: E402
from logger.core.settings_file import SettingsFile  # noqa: E402
from logger.drivers import hx711_rp2, lamp, sensors  # noqa: E402, F401
from logger.links import ble, usb  # noqa: E402, F401

gc.collect()
CODE = gc.mem_alloc()


class Files:
    block_size = 4096

    def sizes(self):
        return []

    def free_blocks(self):
        return 200

    def read(self, name, offset, buffer):
        raise OSError(2)

    def replace(self, name, data):
        pass

    def append(self, name, data):
        pass

    def remove(self, name):
        raise OSError(2)

    def sync(self):
        pass

    def close(self):
        pass


class Converter:
    input = 1

    def power_up(self):
        pass

    def line(self):
        return 1


now = 0


class Board:
    name = "pico_w"
    serial = bytes(8)
    boot = 1
    interpreter = "micropython"
    links = ()

    def __init__(self):
        self.config = SettingsFile("")
        self.files = Files()
        self.store = FlashStore(self.files)
        self.converter = Converter()

    def ticks_us(self):
        return now


app = App(Board())
recorder = app.recorder
links = []
for _ in range(2):
    outbox = Outbox(recorder)
    commands = Commands(recorder, outbox, auth.Gate(app._keys, False))
    links.append((outbox, commands, Inbox(), bytearray(512), bytearray(64)))
gc.collect()
MADE = gc.mem_alloc()
recorder.start(now)
highest = 0
packet = bytearray(244)
for i in range(4500):
    now = (now + 6667) & 0x3FFFFFFF
    recorder.push(i * 300, now, 0, 0)
    recorder.service(now)
    for link in links:
        if i == 10:
            link[0].stream(True)
            link[0].read(1, 1, 0, 64, True)
        link[0].fill(packet, 244, now)
gc.collect()
RUNNING = gc.mem_alloc()
print("code:", CODE - START)
print("objects at rest:", MADE - CODE)
print("more while recording, read and streamed over two links:", RUNNING - MADE)
print("together:", RUNNING - START)
