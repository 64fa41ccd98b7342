"""What the whole firmware takes of the heap, as far as it can be had without a board. Prints bytes.

Everything that a Pico W loads, but for the two drivers' calls of the hardware: App, recorder, store on flash,
links by USB and Bluetooth with their commands and outboxes. Bytecode is on the heap, as it is on a board that
runs .py or .mpy files from its file system. Then it records at 150/s, both links follow and stream.

The 32-bit build collects garbage only between two calls from outside, so its runner carries this file out piece
by piece, cut at the lines "# collect", the piece after "# repeat" once for each second.

In a 32-bit build for Linux the heap has a limit, as on a board, and the flash is a file (first argument), so that
nothing of it is on that heap; the second argument says how many seconds:

    MICROPYPATH=COMPILED:.frozen micropython -X heapsize=160k tests/bench/on_micropython/memory.py FILE 3600
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
# collect
START = gc.mem_alloc()

from logger.core import ring  # noqa: E402, F401, I001 - first, as in main.py

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

LOADED = gc.mem_alloc()
gc.collect()
# collect
CODE = gc.mem_alloc()


class Window:
    """A flash that remembers the latest 16 KiB of the run, which is what the links read."""

    block_size = 4096
    written = 0
    window = None

    def __init__(self):
        self.window = bytearray(16384)

    def sizes(self):
        return []

    def free_blocks(self):
        return 2000

    def append(self, name, data):
        for i in range(len(data)):
            self.window[(self.written + i) & 16383] = data[i]
        self.written += len(data)

    def read(self, name, offset, buffer):
        if name[-4:] != ".run":
            raise OSError(2)
        number = min(len(buffer), self.written - offset)
        for i in range(number):
            buffer[i] = self.window[(offset + i) & 16383]
        return number

    def replace(self, name, data):
        pass

    def remove(self, name):
        raise OSError(2)

    def sync(self):
        pass

    def close(self):
        pass


class Disk(Window):
    """A flash that is a file of this computer."""

    def __init__(self, path):
        self.file = open(path, "wb+")  # noqa: SIM115 - open as long as this program runs

    def append(self, name, data):
        self.file.seek(self.written)
        self.file.write(data)
        self.written += len(data)

    def read(self, name, offset, buffer):
        if name[-4:] != ".run":
            raise OSError(2)
        self.file.seek(offset)
        return self.file.readinto(buffer)


SECONDS = 1 if "SLICED" in globals() else int(sys.argv[2]) if len(sys.argv) > 2 else 60


class Converter:
    input = 1
    keeps = True

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
        self.files = Disk(sys.argv[1]) if len(sys.argv) > 1 else Window()
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
packet = bytearray(244)
sent = 0
highest = 0
live_first = live_last = live_most = 0
seconds = 0


def second():
    """A second at 150/s: samples, service, two links."""
    global now, sent, seconds, live_first, live_last, live_most, highest  # noqa: PLW0603
    live_last = gc.mem_alloc()
    if seconds == 10:
        live_first = live_last
    if live_last > live_most:
        live_most = live_last
    for i in range(150):
        now = (now + 6667) & 0x3FFFFFFF
        recorder.push(81237 + ((i * 7919) & 127), now, 0, 0)
        recorder.service(now)
        for link in links:
            if link[0]._read_run == 0:
                link[0].read(1, 1, max(0, recorder.store.records(1) - 1), 64, True)
                link[0].stream(True)
            sent += link[0].fill(packet, 244, now)
    seconds += 1
    if gc.mem_alloc() > highest:
        highest = gc.mem_alloc()


gc.collect()
# collect
MADE = gc.mem_alloc()
recorder.start(now)
gc.collect()
# repeat
for _ in range(SECONDS):
    second()
    if SECONDS <= 60:  # in a long run it is left to the interpreter, as on a board
        gc.collect()
# collect
print("code:", CODE - START)
print("while it was compiled, garbage included:", LOADED - START)
print("objects at rest (without arguments 16384 of these are the flash of this program):", MADE - CODE)
print("seconds recorded:", seconds, "samples waiting at most:", recorder.health.ring_high, "sent:", sent)
print(
    "alive after 10 s:", live_first - START, "at the end:", live_last - START, "at most:", live_most - START
)
print("with the garbage on top:", highest - START, "overruns:", recorder.ring.overruns)
if SECONDS > 60:
    gc.collect()
    print("alive after a last collection:", gc.mem_alloc() - START)
