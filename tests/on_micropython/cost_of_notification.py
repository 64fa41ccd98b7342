"""What a notification costs in this interpreter: filling a packet of 244 bytes from the store and handing it over.

Prints microseconds and bytes of heap per notification; a test reads the latter. The radio stack is a stub.
"""

import gc
import time

from logger.core import layout
from logger.core.identity import Identity
from logger.core.outbox import Outbox
from logger.core.recorder import Recorder
from logger.core.settings import Settings
from logger.core.store import MemoryStore
from logger.core.timebase import Timebase
from logger.links.ble import BleLink

PACKET = 244


class Radio:
    """The module `bluetooth`, with nothing behind it."""

    def UUID(self, value):  # noqa: N802 - its name there
        return value

    def BLE(self):  # noqa: N802
        return self

    def active(self, on):
        pass

    def irq(self, handler):
        self.handler = handler

    def config(self, **values):
        pass

    def gatts_register_services(self, services):
        return ((1, 2), (3, 4, 5), (6,))

    def gatts_set_buffer(self, handle, room, append):
        pass

    def gatts_write(self, handle, value):
        pass

    def gatts_read(self, handle):
        return b"\0"

    def gap_advertise(self, interval_us, adv_data, resp_data):
        pass

    def gatts_notify(self, connection, handle, data):
        self.sent = len(data)


radio = Radio()
link = BleLink(radio, time.ticks_ms, time.ticks_diff, bytes(8), "test", "test")
store = MemoryStore(300000)
recorder = Recorder(Timebase(0), store, Identity(bytes(8), 1, "test", "test"), Settings())
ticks = 0
recorder.start(0)
for i in range(30000):
    ticks = (ticks + 6667) & 0x3FFFFFFF
    recorder.push(i * 37 % 1000, ticks, 0, 0)
    if i % 4 == 0:
        recorder.service(ticks)
recorder.stop(ticks)
while recorder.writer.active:
    recorder.service(ticks)

radio.handler(1, (0, 0, b""))
radio.handler(21, (0, 247))
word = bytearray(4)
packet = bytearray(PACKET)
outbox = Outbox(recorder, True)
link.receive_into(word)


def send(number):
    for i in range(number):
        if not i & 15:
            link.receive_into(word)
            outbox.read(1, 1, 0, layout.MAX_READ, False)
        if not link.send(packet, 0, outbox.fill(packet, PACKET, 0)):
            raise ValueError("the link took nothing")


send(64)
gc.collect()
gc.disable()
before = gc.mem_alloc()
send(320)
heap = (gc.mem_alloc() - before) // 320
gc.enable()
started = time.ticks_us()
send(3200)
print("microseconds per notification:", time.ticks_diff(time.ticks_us(), started) // 3200)
print("bytes of heap per notification:", heap)
