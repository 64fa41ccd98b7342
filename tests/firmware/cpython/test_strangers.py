"""Strangers, replays and restarts against the real command code: only the owner's sealed commands have any effect."""

import os

import hypothesis.strategies as st
from firmware_support import Logger, command, split_frames
from hypothesis import settings
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from breakyard.client.auth import Session
from breakyard.wire.commands import pack_arguments
from breakyard.wire.layout import Command
from logger.core import auth, layout
from logger.core.commands import Commands
from logger.core.inbox import Inbox
from logger.core.outbox import Outbox

KEY = bytes(range(1, 33))
CHANGING = (
    (Command.ARM, b""),
    (Command.START, b""),
    (Command.STOP, b""),
    (Command.MARK, b"\x00\x01x"),
    (Command.SET, pack_arguments(Command.SET, setting=4, value=700)),
    (Command.SET_CLOCK, pack_arguments(
        Command.SET_CLOCK, device_s=1, device_us=0, utc_s=1, utc_us=0, uncertainty_us=1)),
    (Command.ERASE, pack_arguments(Command.ERASE, run=1, sha256=bytes(32))),
    (Command.SET_KEY, bytes(32) + b"\x03"),
)  # fmt: skip


class Strangers(RuleBasedStateMachine):
    """One logger with flash for its secrets; an owner and strangers take turns on its only link."""

    def __init__(self) -> None:
        super().__init__()
        self.secrets = auth.MemorySecrets()
        auth.Keys(self.secrets, os.urandom).set(KEY, layout.ACCESS_STATUS)
        self.overheard = []  # whole frames that the owner sent: (number of the command, frame)
        self.nonces = []
        self.start()

    def start(self) -> None:
        self.keys = auth.Keys(self.secrets, bytes)  # a board without randomness
        self.logger = Logger()
        self.logger.samples(0, 100)
        self.outbox = Outbox(self.logger.recorder)
        self.commands = Commands(self.logger.recorder, self.outbox, auth.Gate(self.keys, False))
        self.inbox = Inbox()
        self.session = None
        self.owner_here = False
        self.latest = b""

    def pass_time(self, milliseconds):
        self.logger.ticks = (self.logger.ticks + milliseconds * 1000) & 0x3FFFFFFF
        self.logger.sample(0)

    def say(self, frame):
        """Send bytes; return the answers."""
        self.again = frame == self.latest  # the same bytes again get the same answer again, a nonce included
        self.latest = frame
        for byte in frame:
            length = self.inbox.feed(byte)
            if length:
                self.commands.handle(self.inbox.record, length, self.logger.ticks)
        packet = bytearray(4000)
        sent = split_frames(bytes(packet[: self.outbox.fill(packet, 4000, self.logger.ticks)]))
        return [one for one in sent if one[0] == layout.KIND_ANSWER]

    def seen(self):
        """All that a command could have changed."""
        recorder = self.logger.recorder
        clock = recorder.clock
        return (
            recorder.state,
            self.logger.settings.values(),
            recorder.store.runs,
            recorder.store.last_run,
            recorder.writer.records,
            recorder.store.calibration,
            (clock.device_s, clock.utc_s, clock.uncertainty_us),
            self.keys.key,
            self.keys.access,
        )

    def refused(self, frame):
        """It changes nothing, and is answered with a no."""
        before = self.seen()
        answers = self.say(frame)
        assert self.seen() == before
        for answer in answers:
            assert answer[9] in (layout.ERROR_NOT_ALLOWED, layout.ERROR_TOO_SOON)

    def next_index(self):
        self.index = getattr(self, "index", 0) + 1
        return self.index

    @rule()
    def link_breaks(self):
        self.commands.link_lost()
        self.outbox.link_lost()
        self.inbox.clear()
        self.latest = b""
        self.session = None
        self.owner_here = False

    @rule()
    def restart(self):
        self.start()

    @rule(milliseconds=st.sampled_from((10, 300, 5000)))
    def time_passes(self, milliseconds):
        self.pass_time(milliseconds)

    @rule()
    def owner_comes(self):
        self.link_breaks()
        self.pass_time(5000)
        session = Session(KEY)
        frame = command(self.next_index(), layout.COMMAND_CHALLENGE, session.host_nonce)
        self.overheard.append((Command.CHALLENGE, frame))
        (answer,) = self.say(frame)
        assert answer[9] == layout.ERROR_OK
        nonce, proof = answer[10:42], answer[42:74]
        assert nonce not in self.nonces
        self.nonces.append(nonce)
        session.begin(nonce, proof)
        self.session, self.owner_here = session, True
        self.this_session = []

    @precondition(lambda self: self.owner_here)
    @rule(which=st.sampled_from(CHANGING[:3]))
    def owner_commands(self, which):
        self.pass_time(5000)  # a stranger may have spoken in between
        number, arguments = which
        sealed = self.session.seal(number, arguments)
        frame = command(self.next_index(), layout.COMMAND_SEALED, sealed)
        self.overheard.append((Command.SEALED, frame))
        self.this_session.append(frame)
        (answer,) = self.say(frame)
        assert answer[8] == number
        assert answer[9] in (layout.ERROR_OK, layout.ERROR_BAD_STATE)
        self.logger.samples(0, 3)

    @precondition(lambda self: not self.owner_here)
    @rule(which=st.sampled_from(CHANGING))
    def stranger_asks_openly(self, which):
        number, arguments = which
        self.refused(command(self.next_index(), number, arguments))

    @precondition(lambda self: not self.owner_here)
    @rule(which=st.sampled_from(CHANGING), counter=st.integers(0, 2**32 - 1), seed=st.binary(max_size=8))
    def stranger_guesses_a_seal(self, which, counter, seed):
        number, arguments = which
        tag = auth.hmac_sha256(seed, b"guess")
        sealed = counter.to_bytes(4, "little") + tag + bytes([number]) + arguments
        self.refused(command(self.next_index(), layout.COMMAND_SEALED, sealed))

    @precondition(lambda self: not self.owner_here)
    @rule(host_nonce=st.sampled_from((bytes(32), b"\x01" * 32)))
    def stranger_begins_a_session_of_his_own(self, host_nonce):
        (answer,) = self.say(command(self.next_index(), layout.COMMAND_CHALLENGE, host_nonce))
        if answer[9] == layout.ERROR_OK:
            assert answer[10:42] not in self.nonces
            self.nonces.append(answer[10:42])

    @precondition(lambda self: not self.owner_here and self.overheard)
    @rule(data=st.data())
    def stranger_replays(self, data):
        _, frame = data.draw(st.sampled_from(self.overheard))
        before = self.seen()
        answers = self.say(frame)
        assert self.seen() == before
        for answer in answers:
            challenge = answer[8] == layout.COMMAND_CHALLENGE and answer[9] == layout.ERROR_OK
            if challenge and self.again:
                assert answer[10:42] == self.nonces[-1]
            elif challenge:
                assert answer[10:42] not in self.nonces
                self.nonces.append(answer[10:42])
            else:
                assert answer[9] in (layout.ERROR_NOT_ALLOWED, layout.ERROR_TOO_SOON)

    @precondition(lambda self: self.owner_here and len(self.this_session) > 1)
    @rule(data=st.data())
    def stranger_injects_what_he_overheard(self, data):
        """Into the owner's own link, while the session lasts: the counter was used."""
        self.pass_time(5000)
        self.refused(data.draw(st.sampled_from(self.this_session[:-1])))

    @precondition(lambda self: self.owner_here and self.this_session)
    @rule()
    def stranger_repeats_the_latest(self):
        """At worst its answer is given again; it is not carried out again."""
        before = self.seen()
        self.say(self.this_session[-1])
        assert self.seen() == before

    @rule(noise=st.binary(max_size=300))
    def noise(self, noise):
        before, latest = self.seen(), self.latest
        self.say(noise + b"\0")
        self.latest = latest  # noise is no command
        assert self.seen() == before

    @invariant()
    def the_key_is_never_sent_and_never_lost(self):
        assert self.keys.key == KEY
        assert all(KEY not in frame for _, frame in self.overheard)


TestStrangers = Strangers.TestCase
TestStrangers.settings = settings(max_examples=150, stateful_step_count=40, deadline=None)
