"""Flow over a link that queues without limit: what waits in it, however slow it is and whatever is at its other end."""

from firmware_support import Logger, command, split_frames

from logger.core import layout
from logger.core.commands import Commands
from logger.core.credit import Credit
from logger.core.inbox import Inbox
from logger.core.outbox import Outbox


class Draw:
    """Different bytes each time."""

    def __init__(self):
        self.drawn = 0

    def __call__(self, size):
        self.drawn += 7919
        return self.drawn.to_bytes(size, "little")


class SlowLink:
    """A logger at 80 samples a second and a link that takes everything and carries a packet every so often.

    Time goes on by 10 ms at a time, as the logger's tasks do. Not simulated: the gathering of packets, the radio.
    """

    def __init__(self, mtu, carry_ms, echoes=True):
        self.logger = Logger(step_us=10000)
        self.logger.samples(0, 100)
        self.credit = Credit(True, Draw())
        self.outbox = Outbox(self.logger.recorder, True, self.credit)
        self.commands = Commands(self.logger.recorder, self.outbox)
        self.inbox = Inbox()
        self.room = mtu - 3
        self.carry_ms = carry_ms
        self.echoes = echoes
        self.queue = []  # packets that wait in the stack
        self.now_ms = 0
        self.next_ms = 0
        self.longest = 0  # bytes that waited at once, with what the stack needs for them
        self.ages = []  # of each STATUS when it arrived
        self.arrived = bytearray()
        self.answers = 0

    def write(self, data):
        for byte in data:
            length = self.inbox.feed(byte)
            if length:
                self.commands.handle(self.inbox.record, length, self.logger.ticks)

    def step(self):
        """10 ms: a sample, what the logger sends, and perhaps a packet that leaves."""
        self.logger.sample(0)
        self.now_ms += 10
        packet = bytearray(512)
        while self.credit.allows(self.room):
            size = self.outbox.fill(packet, self.room, self.logger.ticks)
            if not size:
                break
            self.credit.sent(size)
            self.queue.append(bytes(packet[:size]))
        waiting = sum([len(one) + layout.PACKET_COST for one in self.queue])
        if waiting > self.longest:
            self.longest = waiting
        if self.queue and self.now_ms >= self.next_ms:
            self.next_ms = self.now_ms + self.carry_ms
            self._arrive(self.queue.pop(0))

    def _arrive(self, packet):
        self.arrived += packet
        end = self.arrived.rfind(b"\x00")
        if end < 0:
            return
        whole = bytes(self.arrived[: end + 1])
        self.arrived = self.arrived[end:]
        for record in split_frames(whole):
            if record[0] == layout.KIND_STATUS:
                seconds = int.from_bytes(record[9:13], "little") * 1000
                now = self.logger.recorder.timebase
                age = now.second * 1000 + now.microsecond // 1000 - seconds
                self.ages.append(age - int.from_bytes(record[13:17], "little") // 1000)
            elif record[0] == layout.KIND_RECEIPT and self.echoes:
                self.commands.handle(bytearray(record), len(record), self.logger.ticks)
            elif record[0] == layout.KIND_ANSWER:
                self.answers += 1


def test_a_status_is_fresh_on_a_link_of_a_packet_in_400_ms():
    """Followed live for two minutes: with the credit of old, a STATUS was two minutes old."""
    link = SlowLink(247, 400)
    link.write(command(1, layout.COMMAND_START))
    link.write(command(2, layout.COMMAND_STREAM, b"\x01"))
    link.write(command(3, layout.COMMAND_READ, b"\x01\x00" + bytes(4) + b"\x40\x01"))
    waiting = 0
    for i in range(12000):
        link.step()
        if i > 500:
            waiting = max(waiting, len(link.queue))

    assert len(link.ages) > 100
    assert max(link.ages[10:]) <= 500
    assert waiting <= layout.MAX_LIVE


def test_a_quick_link_brings_a_status_every_100_ms():
    """At an MTU of 247 and 65, with a packet in 10 ms."""
    for mtu in (247, 65):
        link = SlowLink(mtu, 10)
        link.write(command(1, layout.COMMAND_START))
        link.write(command(2, layout.COMMAND_STREAM, b"\x01"))
        for _ in range(1000):
            link.step()

        assert 95 <= len(link.ages) <= 101
        assert max(link.ages) <= 100


def test_strangers_who_send_nothing_back_fill_no_queue():
    """Ten minutes of every open command, as fast as they can be written, over a link that carries next to nothing."""
    for mtu in (23, 247):
        link = SlowLink(mtu, 4000, echoes=False)
        index = 1
        for i in range(60000):
            if i % 20 == 0:
                for number, arguments in (
                    (layout.COMMAND_TEST_LINK, b"\xf0"),
                    (layout.COMMAND_HELLO, b""),
                    (layout.COMMAND_CHALLENGE, bytes(32)),
                    (layout.COMMAND_LIST, b"\x01\x00"),
                ):
                    link.write(command(index, number, arguments) + b"\x00")
                    index += 1
            if i % 997 == 0:  # receipts that were never asked for
                link.write(_receipt(index))
            link.step()

        assert link.longest <= layout.LINK_CREDIT
        assert len(link.outbox._queue) <= 3 * layout.COMMANDS_AT_ONCE


def _receipt(token):
    from logger.core import cobs, record

    buffer = bytearray(layout.MAX_RECORD)
    frame = bytearray(layout.MAX_FRAME)
    at = record.begin(buffer, layout.KIND_RECEIPT, 0, 0)
    length = record.finish(buffer, record.pack(buffer, at, "I", (token,)))
    return bytes(frame[: cobs.frame(buffer, length, frame)])


def test_each_of_many_commands_is_answered():
    """A hundred in one write: the first are carried out, the others hear BUSY; none is left without an answer."""
    for number in (layout.COMMAND_TIME, layout.COMMAND_HELLO):
        link = SlowLink(247, 10)
        for index in range(1, 41):
            link.write(command(index, number))
        for _ in range(400):
            link.step()

        assert link.answers == 40
