"""A COMMAND record becomes an action and an ANSWER.

A command whose bytes are those of the latest one is a repetition: it gets the same answer again and is not
carried out twice. (HELLO and READ_CALIBRATION change nothing and are carried out each time, so that
whoever asks again also hears again what goes before the answer.)
"""

from . import layout, record
from .auth import SEAL_BYTES, Gate, Keys, MemorySecrets, key_id
from .kept_settings import KeptSettings
from .outbox import Outbox
from .probe import LONGEST_S, SLOWEST_S, Probe
from .recorder import Recorder

_NOTHING = ()
_LONGEST_BEFORE_MS = 60000
_EACH_TIME = (layout.COMMAND_HELLO, layout.COMMAND_READ_CALIBRATION)

# places in the list of a calibration's fields
_CALIBRATION_INPUT = 2
_CALIBRATION_SCALE = 4
_CALIBRATION_SHA256 = 11

# In the order of their numbers; the names of what layout.py says of them, and of the methods that carry them out.
# The methods below, by the number of the command.
_HANDLERS = (
    "_hello",
    "_set",
    "_arm",
    "_start",
    "_stop",
    "_mark",
    "_list",
    "_read",
    "_time",
    "_set_clock",
    "_stream",
    "_erase",
    "_store_calibration",
    "_read_calibration",
    "_set_key",
    "_challenge",
    "",  # SEALED holds another command
    "_self_test",
    "_test_store",
    "_test_link",
    "_test_rate",
)


class Commands:
    """Carries out commands for one link, by their number, as far as its gate allows."""

    def __init__(
        self,
        recorder: Recorder,
        outbox: Outbox,
        gate: Gate | None = None,
        kept: KeptSettings | None = None,
        probe: Probe | None = None,
    ) -> None:
        self._recorder = recorder
        self._kept = kept if kept else KeptSettings(None)
        self._probe = probe if probe else Probe(recorder)
        self._outbox = outbox
        self._gate = gate if gate else Gate(Keys(MemorySecrets(), bytes), True)
        self._last = b""
        self._last_answer: bytes | None = None
        self._index = 0
        self._ticks = 0
        self._error = layout.ERROR_OK
        self._sealed = False

    def link_lost(self) -> None:
        """Forget who was at the other end."""
        self._gate.link_lost()
        self._probe.fast()
        self._last = b""
        self._last_answer = None

    def handle(self, buffer: bytearray, length: int, ticks: int) -> None:
        """Carry out a good record of `length` bytes, received at counter reading `ticks`.

        Records that are no COMMAND are not for the logger and are skipped.
        """
        end = length - layout.TRAILER
        if buffer[0] == layout.KIND_RECEIPT:
            token = record.unpack(buffer, layout.HEADER, end, layout.FIELDS_RECEIPT)
            if token:
                self._outbox.credit.came_back(token[0], ticks)
            return
        if buffer[0] != layout.KIND_COMMAND:
            return
        header = record.unpack(buffer, 4, end, "IB")
        if header is None:  # a command without its number
            self._outbox.bad_records += 1
            return
        index, command, at = header
        if not self._outbox.takes_command():
            self._outbox.busy(index, command)
            return
        received = bytes(buffer[:length])
        if received == self._last and command not in _EACH_TIME:
            if self._last_answer is not None:
                self._outbox.put(self._last_answer)
                return
            if self._outbox.repeat_read():
                return
        self._last = received
        self._last_answer = None
        self._ticks = ticks
        sealed = self._sealed = command == layout.COMMAND_SEALED
        if sealed:
            second, microsecond = self._now()
            error = self._gate.unseal(buffer, at, end, second, microsecond)
            if error:
                self._last_answer = self._outbox.answer(index, command, error, "", _NOTHING)
                return
            command = buffer[at + SEAL_BYTES]
            at += SEAL_BYTES + 1
        name = _HANDLERS[command - 1] if 1 <= command <= len(_HANDLERS) else ""
        if not name or not self._gate.allows(command, sealed):
            error = layout.ERROR_NOT_ALLOWED if name else layout.ERROR_UNKNOWN_COMMAND
            self._last_answer = self._outbox.answer(index, command, error, "", _NOTHING)
            return
        arguments = layout.ARGUMENTS[command - 1]
        fields = layout.RESULTS[command - 1]
        handler = getattr(self, name)  # a table of them for each link would cost 2 KiB
        values = record.unpack(buffer, at, end, arguments)
        # A newer host may append arguments that this version does not know.
        if values is None or (values[-1] != end and buffer[1] <= layout.VERSION):
            self._last_answer = self._outbox.answer(index, command, layout.ERROR_BAD_ARGUMENT, "", _NOTHING)
            return
        self._index = index
        self._error = layout.ERROR_OK
        results = handler(values)
        if self._error:
            self._last_answer = self._outbox.answer(index, command, self._error, "", _NOTHING)
        elif results is not None:
            self._last_answer = self._outbox.answer(index, command, layout.ERROR_OK, fields, results)

    # Each handler takes its arguments and returns its results; None when the answer comes later. An error
    # goes into self._error, and the results are then not looked at.

    def _fail(self, error: int) -> tuple:  # type: ignore[type-arg]
        self._error = error
        return _NOTHING

    def _now(self) -> tuple[int, int]:
        timebase = self._recorder.timebase
        timebase.read(self._ticks)
        return timebase.second, timebase.microsecond

    def knock(self) -> None:
        """Delimiters alone came, over a link that is trusted: say who is here.

        Not for each of the many that came while the logger started: the first command would find no room then.
        """
        if self._outbox.roomy:
            self._say_who(False)

    def _say_who(self, hidden: bool) -> None:
        identity = self._recorder.identity.values(hidden)
        self._outbox.put_own(layout.KIND_IDENTITY, layout.FIELDS_IDENTITY, identity)

    def _hello(self, _: list) -> tuple:  # type: ignore[type-arg]
        recorder = self._recorder
        gate = self._gate
        hidden = not (gate.trusted or self._sealed) and gate.keys.private(recorder.settings.privacy)
        self._say_who(hidden)
        self._outbox.put_own(layout.KIND_SETTINGS, layout.FIELDS_SETTINGS, recorder.settings.values())
        window = layout.COMMAND_WINDOW if self._outbox.credit.counted else 65535
        name = b"" if hidden else recorder.identity.name
        return layout.VERSION, name, layout.COMMANDS_AT_ONCE, window

    @property
    def _busy(self) -> bool:
        return self._recorder.state in (layout.STATE_ARMED, layout.STATE_RECORDING)

    def _set(self, values: list) -> tuple:  # type: ignore[type-arg]
        setting, value = values[0], values[1]
        settings = self._recorder.settings
        if self._busy:
            return self._fail(layout.ERROR_BAD_STATE)
        before = settings.values()
        if not settings.change(setting, value):
            return self._fail(layout.ERROR_BAD_ARGUMENT)
        if not self._kept.keep(setting, value):
            settings.change(setting, before[setting - 1])
            return self._fail(layout.ERROR_STORE_FULL)
        return (value,)

    def _arm(self, _: list) -> tuple:  # type: ignore[type-arg]
        error = self._recorder.arm()
        return self._fail(error) if error else self._run_and_room()

    def _start(self, _: list) -> tuple:  # type: ignore[type-arg]
        error = self._recorder.start(self._ticks)
        return self._fail(error) if error else self._run_and_room()

    def _run_and_room(self) -> tuple[int, int]:
        recorder = self._recorder
        return recorder.next_run(), recorder.writer.seconds_left(recorder.ring.rate_mhz())

    def _stop(self, _: list) -> tuple:  # type: ignore[type-arg]
        return (self._recorder.stop(self._ticks),)

    def _mark(self, values: list) -> tuple:  # type: ignore[type-arg]
        code, text, before_ms = values[0], values[1], values[2]
        if code > layout.MARK_EXTENSION or before_ms > _LONGEST_BEFORE_MS:
            return self._fail(layout.ERROR_BAD_ARGUMENT)
        if self._recorder.trigger.state != layout.STATE_RECORDING:
            return self._fail(layout.ERROR_BAD_STATE)
        second, microsecond = self._now()
        microsecond -= before_ms % 1000 * 1000
        second -= before_ms // 1000
        if microsecond < 0:
            microsecond += 1000000
            second -= 1
        if second < 0:  # before the logger's start
            second = microsecond = 0
        if not self._recorder.writer.mark(second, microsecond, code, text):
            return self._fail(layout.ERROR_STORE_FULL)
        return second, microsecond

    def _list(self, values: list) -> tuple:  # type: ignore[type-arg]
        store = self._recorder.store
        run = store.find(values[0])
        if not run:
            return self._fail(layout.ERROR_NO_SUCH_RUN)
        return run, store.records(run), store.size(run), 1 if store.complete(run) else 0

    def _read(self, values: list) -> tuple | None:  # type: ignore[type-arg]
        run, first, count, follow = values[0], values[1], values[2], values[3]
        if count > layout.MAX_READ or follow > 1:
            return self._fail(layout.ERROR_BAD_ARGUMENT)
        if count and self._outbox.goes_on(run, first):
            if not self._outbox.read_ahead(self._index, count, follow == 1):
                self._outbox.busy(self._index, layout.COMMAND_READ)
                self._last = b""  # not carried out, so the same bytes are a new request
            return None
        self._outbox.stop_read()
        store = self._recorder.store
        if not run or (store.find(run) != run and not (follow and self._recorder.awaits(run))):
            return self._fail(layout.ERROR_NO_SUCH_RUN)
        if first > store.records(run):
            return self._fail(layout.ERROR_NO_SUCH_RECORD)
        self._outbox.read(self._index, run, first, count, follow == 1)
        return None

    def _time(self, _: list) -> tuple:  # type: ignore[type-arg]
        return self._now()

    def _set_clock(self, values: list) -> tuple:  # type: ignore[type-arg]
        if values[1] > 999999 or values[3] > 999999:
            return self._fail(layout.ERROR_BAD_ARGUMENT)
        clock = self._recorder.clock
        clock.device_s = values[0]
        clock.device_us = values[1]
        clock.utc_s = values[2]
        clock.utc_us = values[3]
        clock.uncertainty_us = values[4]
        return _NOTHING

    def _stream(self, values: list) -> tuple:  # type: ignore[type-arg]
        if values[0] > 1:
            return self._fail(layout.ERROR_BAD_ARGUMENT)
        self._outbox.stream(values[0] == 1)
        return _NOTHING

    def _erase(self, values: list) -> tuple:  # type: ignore[type-arg]
        store = self._recorder.store
        run = values[0]
        if not run or store.find(run) != run:
            return self._fail(layout.ERROR_NO_SUCH_RUN)
        if not store.complete(run):
            return self._fail(layout.ERROR_BAD_STATE)
        if store.sha256(run) != values[1]:
            return self._fail(layout.ERROR_WRONG_HASH)
        store.erase(run)
        return _NOTHING

    def _store_calibration(self, values: list) -> tuple:  # type: ignore[type-arg]
        # What the numbers mean is the host's business; only what could never be used is refused.
        if self._busy:
            return self._fail(layout.ERROR_BAD_STATE)
        if (
            not layout.INPUT_A128 <= values[_CALIBRATION_INPUT] <= layout.INPUT_A64
            or not values[_CALIBRATION_SCALE]
        ):
            return self._fail(layout.ERROR_BAD_ARGUMENT)
        payload = bytearray(layout.MAX_RECORD)
        end = record.pack(payload, 0, layout.FIELDS_CALIBRATION, tuple(values))
        if not self._recorder.store.keep_calibration(bytes(payload[:end])):
            return self._fail(layout.ERROR_STORE_FULL)
        return (values[_CALIBRATION_SHA256],)

    def _read_calibration(self, _: list) -> tuple:  # type: ignore[type-arg]
        payload = self._recorder.store.calibration
        if not payload:
            return self._fail(layout.ERROR_NO_SUCH_RECORD)
        self._outbox.put_own(layout.KIND_CALIBRATION, "*", (payload,))
        return (payload[-32:],)

    def _set_key(self, values: list) -> tuple:  # type: ignore[type-arg]
        key, access = values[0], values[1]
        if access > layout.ACCESS_EVERYTHING:
            return self._fail(layout.ERROR_BAD_ARGUMENT)
        if not self._gate.keys.set(key, access):
            return self._fail(layout.ERROR_STORE_FULL)
        return (key_id(key),)

    def _challenge(self, values: list) -> tuple:  # type: ignore[type-arg]
        second, microsecond = self._now()
        outcome = self._gate.challenge(values[0], second, microsecond)
        return self._fail(outcome) if isinstance(outcome, int) else outcome

    def _self_test(self, values: list) -> tuple:  # type: ignore[type-arg]
        if not 1 <= values[0] <= LONGEST_S:
            return self._fail(layout.ERROR_BAD_ARGUMENT)
        if self._busy:
            return self._fail(layout.ERROR_BAD_STATE)
        self._now()
        return self._probe.samples(values[0])

    def _test_store(self, _: list) -> tuple:  # type: ignore[type-arg]
        return self._fail(layout.ERROR_BAD_STATE) if self._busy else self._probe.store()

    def _test_link(self, values: list) -> tuple:  # type: ignore[type-arg]
        if values[0] > layout.MAX_FILLER:
            return self._fail(layout.ERROR_BAD_ARGUMENT)
        return (bytes(range(values[0])),)

    def _test_rate(self, values: list) -> tuple:  # type: ignore[type-arg]
        if values[0] > SLOWEST_S:
            return self._fail(layout.ERROR_BAD_ARGUMENT)
        if self._busy:
            return self._fail(layout.ERROR_BAD_STATE)
        self._now()
        return (self._probe.slow(values[0]),)
