"""Keys, challenges and seals: published vectors, our own vectors, and what must never happen."""

from struct import pack, unpack_from

from firmware_support import Logger, command, read_json, split_frames

from logger.core import auth, layout
from logger.core.commands import Commands
from logger.core.inbox import Inbox
from logger.core.outbox import Outbox

LONG = (
    b"This is a test using a larger than block-size key and a larger than block-size data. "
    b"The key needs to be hashed before being used by the HMAC algorithm."
)
KEY = bytes([i + 1 for i in range(32)])


def numbers(size):
    """A source of randomness that never changes: what uniqueness must not hang on."""
    return bytes(size)


class Line:
    """A logger with one link that anyone can open."""

    def __init__(self, secrets=None, trusted=False):
        self.secrets = secrets if secrets else auth.MemorySecrets()
        self.keys = auth.Keys(self.secrets, numbers)
        self.logger = Logger()
        self.logger.samples(0, 100)
        self.outbox = Outbox(self.logger.recorder)
        self.commands = Commands(self.logger.recorder, self.outbox, auth.Gate(self.keys, trusted))
        self.inbox = Inbox()
        self.index = 0

    def ask(self, number, arguments=b"", index=None):
        """(command, error, results) of the answer."""
        answers = [one for one in self.hear(number, arguments, index) if one[0] == layout.KIND_ANSWER]
        assert len(answers) == 1
        return answers[0][8], answers[0][9], answers[0][10:-4]

    def hear(self, number, arguments=b"", index=None):
        """All records that come of a command."""
        self.index += 1
        for byte in command(self.index if index is None else index, number, arguments):
            length = self.inbox.feed(byte)
            if length:
                self.commands.handle(self.inbox.record, length, self.logger.ticks)
        packet = bytearray(2000)
        return split_frames(bytes(packet[: self.outbox.fill(packet, 2000, self.logger.ticks)]))

    def who(self, number, arguments=b""):
        """(serial number, name) as HELLO tells them, open or sealed."""
        records = self.hear(number, arguments)
        (identity,) = [one for one in records if one[0] == layout.KIND_IDENTITY]
        (answer,) = [one for one in records if one[0] == layout.KIND_ANSWER]
        assert answer[8:11] == bytes((layout.COMMAND_HELLO, 0, 1))
        return identity[8:16], answer[12 : 12 + answer[11]]

    def open_session(self, key=KEY, host_nonce=bytes(32)):
        self.logger.samples(0, 30)  # the one before may have been just now
        number, error, results = self.ask(layout.COMMAND_CHALLENGE, host_nonce)
        assert (number, error) == (layout.COMMAND_CHALLENGE, 0)
        return auth.session_key(key, results[:32], host_nonce)

    def sealed(self, session, counter, number, arguments=b""):
        inner = bytes([number]) + arguments
        return pack("<I", counter) + auth.tag(session, counter, inner) + inner


def with_key(secrets=None):
    line = Line(secrets)
    line.keys.set(KEY, layout.ACCESS_STATUS)
    return line


def test_a_stranger_is_not_told_who_it_is_where_the_owner_wants_that():
    """By default under KEY_ONLY with a key, else by the setting; over the cable and under a seal it tells."""
    serial = bytes(range(1, 9))
    hidden = (bytes(8), b"")
    told = (serial, b"slipway")
    rows = (
        (layout.PRIVACY_AS_ACCESS, layout.ACCESS_KEY_ONLY, hidden),
        (layout.PRIVACY_AS_ACCESS, layout.ACCESS_STATUS, told),
        (layout.PRIVACY_OPEN, layout.ACCESS_KEY_ONLY, told),
        (layout.PRIVACY_PRIVATE, layout.ACCESS_EVERYTHING, hidden),
    )
    for privacy, access, expected in rows:
        for trusted in (False, True):
            line = Line(trusted=trusted)
            line.keys.set(KEY, access)
            line.logger.recorder.identity.name = b"slipway"
            line.logger.settings.privacy = privacy
            assert line.who(layout.COMMAND_HELLO) == (told if trusted else expected)
            session = line.open_session()
            sealed = line.sealed(session, 1, layout.COMMAND_HELLO)
            assert line.who(layout.COMMAND_SEALED, sealed) == told
            assert line.who(layout.COMMAND_HELLO) == (told if trusted else expected)


def test_without_a_key_only_the_setting_hides_it():
    line = Line()
    assert line.keys.access == layout.ACCESS_STATUS
    line.keys.access = layout.ACCESS_KEY_ONLY
    assert line.who(layout.COMMAND_HELLO)[0] == bytes(range(1, 9))
    line.logger.settings.privacy = layout.PRIVACY_PRIVATE
    assert line.who(layout.COMMAND_HELLO)[0] == bytes(8)


def test_challenges_come_no_faster_than_the_pause_by_radio():
    """However many are asked for, over however many links; a cable does not wait."""
    for trusted, expected in ((False, 4), (True, 50)):
        line = Line(trusted=trusted)
        line.keys.set(KEY, layout.ACCESS_STATUS)
        answered = 0
        for _ in range(50):
            line.logger.idle(20)
            error = line.ask(layout.COMMAND_CHALLENGE, bytes(32))[1]
            assert error in (layout.ERROR_OK, layout.ERROR_TOO_SOON)
            answered += error == layout.ERROR_OK
            line.commands.link_lost()  # connecting again does not help
        assert answered == expected


def test_hmac_of_rfc_4231():
    """RFC 4231, section 4: all seven cases, as other projects' tests quote them; case 5 is cut to 128 bits there."""
    cases = (
        (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
        (
            b"Jefe",
            b"what do ya want for nothing?",
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        ),
        (b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
        (
            bytes([i + 1 for i in range(25)]),
            b"\xcd" * 50,
            "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b",
        ),
        (b"\x0c" * 20, b"Test With Truncation", "a3b6167473100ee06e0c796c2955552b"),
        (
            b"\xaa" * 131,
            b"Test Using Larger Than Block-Size Key - Hash Key First",
            "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
        ),
        (
            b"\xaa" * 131,
            LONG,
            "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
        ),
    )
    for key, message, expected in cases:
        assert auth.hmac_sha256(key, message).hex()[: len(expected)] == expected


def test_seals_of_the_golden_vectors():
    for case in read_json("protocol/vectors/seals.json")["cases"]:
        key, nonce = bytes.fromhex(case["key"]), bytes.fromhex(case["nonce"])
        session = auth.session_key(key, nonce, bytes.fromhex(case["host_nonce"]))

        assert auth.key_id(key).hex() == case["key_id"], case["id"]
        assert session.hex() == case["session_key"], case["id"]
        assert auth.proof(session).hex() == case["proof"], case["id"]
        assert auth.tag(session, case["counter"], bytes.fromhex(case["sealed"])).hex() == case["tag"]


def test_a_sealed_command_is_carried_out_and_answered_under_its_own_number():
    line = with_key()
    session = line.open_session()
    number, error, results = line.ask(
        layout.COMMAND_SEALED, line.sealed(session, 1, layout.COMMAND_SET, pack("<BI", 4, 700))
    )

    assert (number, error, results) == (layout.COMMAND_SET, 0, pack("<I", 700))
    assert line.logger.settings.hang_ms == 700


def test_without_a_key_only_numbers_are_open():
    for line in (Line(), with_key()):
        refused = [
            number
            for number in range(layout.COMMAND_HELLO, layout.COMMAND_TEST_RATE + 1)
            if line.ask(number)[1] == layout.ERROR_NOT_ALLOWED
        ]
        assert refused == [
            layout.COMMAND_SET,
            layout.COMMAND_ARM,
            layout.COMMAND_START,
            layout.COMMAND_STOP,
            layout.COMMAND_MARK,
            layout.COMMAND_READ,
            layout.COMMAND_SET_CLOCK,
            layout.COMMAND_ERASE,
            layout.COMMAND_STORE_CALIBRATION,
            layout.COMMAND_READ_CALIBRATION,
            layout.COMMAND_SET_KEY,
            layout.COMMAND_TEST_STORE,
            layout.COMMAND_TEST_RATE,
        ]


def test_access_opens_more_or_less_but_never_the_key():
    expected = {
        layout.ACCESS_KEY_ONLY: (False, False, False),
        layout.ACCESS_STATUS: (True, False, False),
        layout.ACCESS_READING: (True, True, False),
        layout.ACCESS_EVERYTHING: (True, True, True),
    }
    for access, wanted in sorted(expected.items()):
        line = Line()
        line.keys.set(bytes(32), access)
        open_now = tuple(
            line.ask(number)[1] != layout.ERROR_NOT_ALLOWED
            for number in (layout.COMMAND_TIME, layout.COMMAND_READ, layout.COMMAND_STOP)
        )
        assert open_now == wanted
        assert line.ask(layout.COMMAND_SET_KEY, KEY + b"\x03")[1] == layout.ERROR_NOT_ALLOWED
        assert not line.keys.has_key


def test_the_key_cannot_be_set_over_the_air_even_under_its_own_seal():
    line = with_key()
    session = line.open_session()
    sealed = line.sealed(session, 1, layout.COMMAND_SET_KEY, bytes(32) + b"\x03")

    assert line.ask(layout.COMMAND_SEALED, sealed)[1] == layout.ERROR_NOT_ALLOWED
    assert line.keys.key == KEY


def test_a_counter_works_once():
    line = with_key()
    session = line.open_session()
    stop = line.sealed(session, 5, layout.COMMAND_STOP)

    assert line.ask(layout.COMMAND_SEALED, stop)[1] == 0
    assert line.ask(layout.COMMAND_SEALED, stop)[1] == layout.ERROR_NOT_ALLOWED
    lower = line.sealed(session, 4, layout.COMMAND_STOP)
    assert line.ask(layout.COMMAND_SEALED, lower)[1] == layout.ERROR_NOT_ALLOWED
    assert line.ask(layout.COMMAND_SEALED, line.sealed(session, 6, layout.COMMAND_STOP))[1] == 0


def test_a_session_ends_with_the_link_a_new_challenge_and_a_new_key():
    line = with_key()
    session = line.open_session()
    line.commands.link_lost()
    stop = line.sealed(session, 1, layout.COMMAND_STOP)
    assert line.ask(layout.COMMAND_SEALED, stop)[1] == layout.ERROR_NOT_ALLOWED

    session = line.open_session()
    line.keys.set(bytes(31) + b"\x01", layout.ACCESS_STATUS)
    stop = line.sealed(session, 1, layout.COMMAND_STOP)
    assert line.ask(layout.COMMAND_SEALED, stop)[1] == layout.ERROR_NOT_ALLOWED


def test_the_same_bytes_again_are_answered_again_but_not_by_the_next_link():
    line = with_key()
    session = line.open_session()
    start = line.sealed(session, 1, layout.COMMAND_START)
    first = line.ask(layout.COMMAND_SEALED, start, 77)
    assert line.ask(layout.COMMAND_SEALED, start, 77) == first
    line.commands.link_lost()

    assert line.ask(layout.COMMAND_SEALED, start, 77)[:2] == (
        layout.COMMAND_SEALED,
        layout.ERROR_NOT_ALLOWED,
    )


def test_a_seal_in_a_seal_is_no_command():
    line = with_key()
    session = line.open_session()
    inner = line.sealed(session, 2, layout.COMMAND_STOP)

    outer = line.sealed(session, 1, layout.COMMAND_SEALED, inner)
    assert line.ask(layout.COMMAND_SEALED, outer)[1] == layout.ERROR_UNKNOWN_COMMAND


def test_every_changed_bit_of_a_seal_is_refused():
    line = with_key()
    session = line.open_session()
    good = line.sealed(session, 1, layout.COMMAND_SET, pack("<BI", 4, 700))
    for place in range(len(good)):
        bad = bytearray(good)
        bad[place] ^= 0x10
        line.logger.idle(5000)  # let the wait after a wrong seal pass
        assert line.ask(layout.COMMAND_SEALED, bytes(bad))[1] == layout.ERROR_NOT_ALLOWED, place
    assert line.logger.settings.hang_ms == 5000
    line.logger.idle(5000)
    assert line.ask(layout.COMMAND_SEALED, good)[1] == 0


def test_wrong_seals_are_slowed_down_more_and_more_and_a_right_one_ends_that():
    line = with_key()
    session = line.open_session()
    wrong = bytes(36) + bytes([layout.COMMAND_STOP])
    right = line.sealed(session, 1, layout.COMMAND_STOP)
    waits = []
    for _ in range(7):
        assert line.ask(layout.COMMAND_SEALED, wrong)[1] == layout.ERROR_NOT_ALLOWED
        waited = 0
        while line.ask(layout.COMMAND_CHALLENGE, bytes(32))[1] == layout.ERROR_TOO_SOON:
            assert line.ask(layout.COMMAND_SEALED, right)[1] == layout.ERROR_TOO_SOON
            line.logger.idle(50)
            waited += 50
        waits.append(waited)
        session = line.open_session()
        right = line.sealed(session, 1, layout.COMMAND_STOP)

    assert waits == [250, 500, 1000, 2000, 4000, 4000, 4000]
    assert line.ask(layout.COMMAND_SEALED, right)[1] == 0
    assert line.ask(layout.COMMAND_SEALED, wrong)[1] == layout.ERROR_NOT_ALLOWED
    line.logger.idle(250)
    assert line.ask(layout.COMMAND_CHALLENGE, bytes(32))[1] == 0


def test_strangers_keep_the_owner_waiting_four_seconds_at_most_and_the_cable_not_at_all():
    line = with_key()
    wrong = bytes(36) + bytes([layout.COMMAND_STOP])
    for _ in range(40):
        line.open_session()
        assert line.ask(layout.COMMAND_SEALED, wrong)[1] == layout.ERROR_NOT_ALLOWED
        line.logger.idle(4000)
    line.open_session()
    assert line.ask(layout.COMMAND_SEALED, wrong)[1] == layout.ERROR_NOT_ALLOWED
    line.commands.link_lost()

    over_the_air, line.commands = (
        line.commands,
        Commands(line.logger.recorder, line.outbox, auth.Gate(line.keys, True)),
    )
    assert line.ask(layout.COMMAND_STOP)[1] == 0
    line.commands = over_the_air
    waited = 0
    while line.ask(layout.COMMAND_CHALLENGE, bytes(32))[1] == layout.ERROR_TOO_SOON:
        line.logger.idle(50)
        waited += 50
    assert waited <= 4000
    session = line.open_session()
    assert line.ask(layout.COMMAND_SEALED, line.sealed(session, 1, layout.COMMAND_STOP))[1] == 0


def test_nonces_never_come_again_over_restarts_without_any_randomness():
    secrets = auth.MemorySecrets()
    auth.Keys(secrets, numbers).set(KEY, layout.ACCESS_STATUS)
    seen = set()
    for _ in range(30):
        keys = auth.Keys(secrets, numbers)
        for _ in range(5):
            seen.add(keys.nonce())

    assert len(seen) == 150


def test_a_start_that_cannot_be_counted_gives_no_nonce():
    class Broken(auth.MemorySecrets):
        def save(self, data):
            return False

    secrets = Broken()
    first = auth.Keys(auth.MemorySecrets(), numbers)
    first.set(KEY, layout.ACCESS_STATUS)
    secrets.data = first._secrets.data
    keys = auth.Keys(secrets, numbers)

    assert keys.has_key
    assert keys.nonce() is None
    assert not keys.set(bytes(31) + b"\x02", layout.ACCESS_EVERYTHING)
    assert (keys.key, keys.access) == (KEY, layout.ACCESS_STATUS)


def test_damaged_secrets_close_the_logger():
    secrets = auth.MemorySecrets()
    auth.Keys(secrets, numbers).set(KEY, layout.ACCESS_EVERYTHING)
    whole = secrets.data
    for place in range(len(whole)):
        bad = bytearray(whole)
        bad[place] ^= 1
        secrets.data = bytes(bad)
        keys = auth.Keys(secrets, numbers)
        assert not keys.has_key
        assert keys.access == layout.ACCESS_STATUS
    for end in range(len(whole)):
        secrets.data = whole[:end]
        assert not auth.Keys(secrets, numbers).has_key


def test_a_cable_needs_no_key_and_sets_it():
    line = Line(trusted=True)
    number, error, results = line.ask(layout.COMMAND_SET_KEY, KEY + bytes([layout.ACCESS_KEY_ONLY]))

    assert (number, error) == (layout.COMMAND_SET_KEY, 0)
    assert results == auth.key_id(KEY)
    assert line.ask(layout.COMMAND_STOP)[1] == 0
    again = auth.Keys(line.secrets, numbers)
    assert (again.key, again.access) == (KEY, layout.ACCESS_KEY_ONLY)
    starts, challenges = unpack_from("<II", again.nonce(), 0)
    assert (starts, challenges) == (2, 1)


def test_a_link_without_a_right_seal_may_not_stay_where_there_is_a_key():
    """Unless it is a cable, or everything is open anyway; a seal that was right once is enough."""
    line = with_key()
    gate = line.commands._gate
    assert not gate.may_stay
    session = line.open_session()
    assert not gate.may_stay  # anyone can ask for a challenge
    line.ask(layout.COMMAND_SEALED, line.sealed(session, 1, layout.COMMAND_STOP))
    assert gate.may_stay
    gate.link_lost()
    assert not gate.may_stay
    line.keys.access = layout.ACCESS_EVERYTHING
    assert gate.may_stay
    assert Line().commands._gate.may_stay  # no key
    assert Line(trusted=True).commands._gate.may_stay


def test_the_same_key_set_again_after_the_secrets_were_lost_meets_no_old_nonce():
    """The count of starts begins anywhere, so even a source that repeats what follows gives another nonce."""

    def source(first):
        return lambda size: bytes((first,)) * size if size == 4 else bytes(size)

    seen = []
    for first in (1, 2):
        keys = auth.Keys(auth.MemorySecrets(), source(first))
        keys.set(KEY, layout.ACCESS_STATUS)
        seen.append(keys.nonce())

    assert seen[0] != seen[1]
