"""Strangers, replays and restarts against the real command code, as a state machine for hypothesis (CPython only).

`machine` makes it for given modules, so that deliberately broken ones can be tried too: see
cpython/test_strangers_mutants.py.
"""

import hashlib

import hypothesis.strategies as st
from firmware_support import Logger, command, split_frames
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from breakyard.device.client.auth import SealedSession
from breakyard.wire.commands import pack_arguments
from breakyard.wire.layout import Command
from logger.core import layout
from logger.core.inbox import Inbox
from logger.core.outbox import Outbox

KEY = hashlib.sha256(b"the owner's key").digest()
BETRAYED = 6
"""So many bytes of the key in a row are no chance."""
CHANGING = (
    (Command.ARM, b""),
    (Command.START, b""),
    (Command.STOP, b""),
    (Command.MARK, b"\x00\x01x\x00\x00"),
    (Command.SET, pack_arguments(Command.SET, setting=4, value=700)),
    (Command.SET_CLOCK, pack_arguments(
        Command.SET_CLOCK, device_s=1, device_us=0, utc_s=1, utc_us=0, uncertainty_us=1)),
    (Command.ERASE, pack_arguments(Command.ERASE, run=1, sha256=bytes(32))),
    (Command.SET_KEY, bytes(32) + b"\x03"),
)  # fmt: skip
OPEN = ((Command.HELLO, b""), (Command.TIME, b""), (Command.LIST, b"\0\0"), (Command.READ_CALIBRATION, b""))
OWNERS = (*CHANGING[:3], CHANGING[4], *OPEN)
NO = (layout.ERROR_NOT_ALLOWED, layout.ERROR_TOO_SOON)
LONGEST_WAIT_MS = 4000


def machine(auth, commands):
    """The state machine for a module that stands for logger.core.auth and one that stands for commands."""

    class Strangers(RuleBasedStateMachine):
        """One logger with flash for its secrets; an owner and strangers take turns on its only link."""

        def __init__(self):
            super().__init__()
            self.secrets = auth.MemorySecrets()
            auth.Keys(self.secrets, bytes).set(KEY, layout.ACCESS_STATUS)
            self.overheard = []  # whole frames that the owner sent, whether they arrived or not
            self.nonces = []
            self.index = 0
            self.start()

        def start(self):
            self.keys = auth.Keys(self.secrets, bytes)  # a board without randomness
            self.logger = Logger()
            self.logger.samples(0, 100)
            self.outbox = Outbox(self.logger.recorder)
            self.commands = commands.Commands(self.logger.recorder, self.outbox, auth.Gate(self.keys, False))
            self.inbox = Inbox()
            self.session = None
            self.latest = b""

        def pass_time(self, milliseconds):
            self.logger.ticks = (self.logger.ticks + milliseconds * 1000) & 0x3FFFFFFF
            self.logger.sample(0)

        def say(self, frame):
            """Send bytes; return the answers."""
            self.again = (
                frame == self.latest
            )  # the same bytes again get the same answer again, a nonce included
            self.latest = frame
            for byte in frame:
                length = self.inbox.feed(byte)
                if length:
                    self.commands.handle(self.inbox.record, length, self.logger.ticks)
            packet = bytearray(4000)
            sent = split_frames(bytes(packet[: self.outbox.fill(packet, 4000, self.logger.ticks)]))
            for one in sent:
                assert not any(KEY[at : at + BETRAYED] in one for at in range(len(KEY) - BETRAYED + 1))
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
            """It changes nothing, and is answered with a no; returns the errors."""
            before = self.seen()
            answers = self.say(frame)
            assert self.seen() == before
            for answer in answers:
                assert answer[9] in NO
            return [answer[9] for answer in answers]

        def next_index(self):
            self.index += 1
            return self.index

        def challenge(self, host_nonce, frame=None):
            """(frame, nonce and proof or None): a nonce that was never there before, unless the bytes were."""
            frame = frame or command(self.next_index(), layout.COMMAND_CHALLENGE, host_nonce)
            (answer,) = self.say(frame)
            if answer[9] != layout.ERROR_OK:
                assert answer[9] in NO
                return frame, None
            nonce, proof = answer[10:42], answer[42:74]
            if self.again:
                assert nonce == self.nonces[-1]
            else:
                assert nonce not in self.nonces
                self.nonces.append(nonce)
            return frame, (nonce, proof)

        def sealed_by_owner(self, which):
            """The next sealed command of the owner, as a frame; whoever listens has it from now on."""
            number, arguments = which
            sealed = self.session.seal(number, arguments)
            if sealed is None:  # what the host never seals
                return None
            frame = command(self.next_index(), layout.COMMAND_SEALED, sealed)
            self.overheard.append(frame)
            return frame

        # What happens to the logger

        @rule()
        def link_breaks(self):
            self.commands.link_lost()
            self.outbox.link_lost()
            self.inbox.clear()
            self.latest = b""
            self.session = None

        @rule()
        def restart(self):
            self.start()

        @rule(milliseconds=st.sampled_from((10, 300, 5000)))
        def time_passes(self, milliseconds):
            self.pass_time(milliseconds)

        # The owner

        @rule()
        def owner_comes(self):
            """However many strangers were there before: after the longest wait he gets in at once."""
            self.link_breaks()
            self.pass_time(LONGEST_WAIT_MS)
            session = SealedSession(KEY)
            frame, answer = self.challenge(session.host_nonce)
            assert answer is not None
            self.overheard.append(frame)
            session.begin(*answer)
            self.session = session
            self.arrived = []
            self.held = []

        @precondition(lambda self: self.session)
        @rule(which=st.sampled_from(OWNERS), twice=st.booleans())
        def owner_commands(self, which, twice):
            """Once, or again because the answer was lost: then the same answer comes, and nothing else happens."""
            self.pass_time(5000)  # a stranger may have spoken in between
            frame = self.sealed_by_owner(which)
            if frame is None:
                return
            self.arrived.append(frame)
            (answer,) = self.say(frame)
            after = self.seen()
            assert not twice or (self.say(frame) == [answer] and self.seen() == after)
            assert answer[8] == which[0]
            assert answer[9] in (
                layout.ERROR_OK, layout.ERROR_BAD_STATE, layout.ERROR_NO_SUCH_RUN, layout.ERROR_NO_SUCH_RECORD
            )  # fmt: skip
            self.logger.samples(0, 3)

        @precondition(lambda self: self.session)
        @rule(which=st.sampled_from(CHANGING[:5]))
        def owner_sends_what_never_arrives(self, which):
            """Lost in the air or held back by somebody, and overheard all the same."""
            self.held.append(self.sealed_by_owner(which))

        @precondition(lambda self: self.session)
        @rule()
        def nobody_sets_a_key_by_radio(self):
            """Not even under the owner's seal."""
            self.pass_time(5000)
            sealed = bytes([Command.SET_KEY]) + bytes(32) + b"\x03"
            self.session.counter += 1
            counter = self.session.counter.to_bytes(4, "little")
            tag = auth.tag(self.session.session_key, self.session.counter, sealed)
            self.refused(command(self.next_index(), layout.COMMAND_SEALED, counter + tag + sealed))

        # Strangers

        @precondition(lambda self: not self.session)
        @rule(which=st.sampled_from(CHANGING))
        def stranger_asks_openly(self, which):
            number, arguments = which
            self.refused(command(self.next_index(), number, arguments))

        @rule(which=st.sampled_from(OPEN[:3]))
        def anybody_asks_what_is_open(self, which):
            """Numbers are open here; nothing changes by asking."""
            before = self.seen()
            self.say(command(self.next_index(), *which))
            assert self.seen() == before

        @precondition(lambda self: not self.session)
        @rule(which=st.sampled_from(CHANGING), counter=st.integers(0, 2**32 - 1), seed=st.binary(max_size=8))
        def stranger_guesses_a_seal(self, which, counter, seed):
            number, arguments = which
            tag = auth.hmac_sha256(seed, b"guess")
            sealed = counter.to_bytes(4, "little") + tag + bytes([number]) + arguments
            self.refused(command(self.next_index(), layout.COMMAND_SEALED, sealed))

        @precondition(lambda self: not self.session)
        @rule(step_ms=st.sampled_from((110, 430)))
        def stranger_guesses_without_rest(self, step_ms):
            """In 20 s at most nine guesses are looked at (0.25 + 0.5 + 1 + 2 s, then 4 s each, and the one before)."""
            looked_at = 0
            begun = False  # without a session a seal is refused unseen
            nonces = len(self.nonces)
            for _ in range(20000 // step_ms):
                begun = self.challenge(bytes(32))[1] is not None or begun
                errors = self.refused(command(self.next_index(), layout.COMMAND_SEALED, bytes(37)))
                looked_at += begun and layout.ERROR_NOT_ALLOWED in errors
                self.logger.ticks = (self.logger.ticks + step_ms * 1000) & 0x3FFFFFFF
                self.logger.recorder.service(self.logger.ticks)
            assert looked_at <= 9
            assert len(self.nonces) - nonces <= 20000 // layout.CHALLENGE_PAUSE + 1

        @precondition(lambda self: not self.session)
        @rule()
        def stranger_asks_for_nonces_without_rest(self):
            """A second of challenges: no more than its share is answered."""
            nonces = len(self.nonces)
            for _ in range(50):
                self.challenge(bytes(32))
                self.logger.ticks = (self.logger.ticks + 20000) & 0x3FFFFFFF
                self.logger.recorder.service(self.logger.ticks)
            assert len(self.nonces) - nonces <= 1000 // layout.CHALLENGE_PAUSE + 1

        @precondition(lambda self: not self.session)
        @rule(host_nonce=st.sampled_from((bytes(32), b"\x01" * 32)))
        def stranger_begins_a_session_of_his_own(self, host_nonce):
            self.challenge(host_nonce)

        @precondition(lambda self: not self.session and self.overheard)
        @rule(data=st.data())
        def stranger_replays(self, data):
            """Anything of any session, also what never arrived."""
            frame = data.draw(st.sampled_from(self.overheard))
            before = self.seen()
            if frame[9] == layout.COMMAND_CHALLENGE or len(frame) < 50:
                self.challenge(b"", frame)
            else:
                self.refused(frame)
            assert self.seen() == before

        @precondition(lambda self: self.session and self.arrived)
        @rule(data=st.data())
        def stranger_injects_what_he_overheard(self, data):
            """Into the owner's own link, while the session lasts, something else in between: the counter was used."""
            self.say(command(self.next_index(), layout.COMMAND_TIME))
            self.pass_time(5000)
            self.refused(data.draw(st.sampled_from(self.arrived)))

        @precondition(lambda self: self.session and self.held)
        @rule(data=st.data())
        def stranger_sends_what_he_held_back(self, data):
            """Over a link of his own: the session ended with the owner's."""
            frame = data.draw(st.sampled_from(self.held))
            self.pass_time(5000)
            self.link_breaks()
            self.refused(frame)

        @precondition(lambda self: self.session and self.arrived and self.latest == self.arrived[-1])
        @rule()
        def stranger_repeats_the_latest_over_his_link(self):
            """What is answered again to the owner is not answered to him."""
            frame = self.arrived[-1]
            self.link_breaks()
            self.refused(frame)

        @precondition(lambda self: self.session)
        @rule(which=st.sampled_from(CHANGING[:3]), place=st.integers(0, 36), bit=st.integers(0, 7))
        def stranger_changes_a_bit_on_the_way(self, which, place, bit):
            """Of counter, tag or command: the owner's own seal does not cover it."""
            self.pass_time(5000)
            sealed = bytearray(self.session.seal(*which))
            sealed[place] ^= 1 << bit
            self.refused(command(self.next_index(), layout.COMMAND_SEALED, bytes(sealed)))

        @rule(noise=st.binary(max_size=60))
        def noise(self, noise):
            before, latest = self.seen(), self.latest
            self.say(noise + b"\0")
            self.latest = latest  # noise is no command
            assert self.seen() == before

        @invariant()
        def the_key_is_never_sent_and_never_lost(self):
            assert self.keys.key == KEY
            assert all(KEY not in frame for frame in self.overheard)

    return Strangers
