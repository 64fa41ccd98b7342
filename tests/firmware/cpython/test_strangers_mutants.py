"""The state machine of strangers can tell: each deliberate break of the gate makes it fail.

A mutant is the module's source with one passage replaced, loaded beside the real one. Nothing else is changed, so what
the machine notices is the break.
"""

import types
from pathlib import Path

import pytest
from hypothesis import Phase, settings
from hypothesis.stateful import run_state_machine_as_test
from stranger_machine import machine

from logger.core import auth, commands

QUICK = settings(
    max_examples=1500,
    stateful_step_count=40,
    deadline=None,
    phases=[Phase.generate],
    report_multiple_bugs=False,
)
"""More examples than in test_strangers.py, where a failure is made small; here the first one is enough, and how soon it
comes depends on what else is loaded: hypothesis draws on the constants of all modules."""

MUTANTS = {
    "tag check removed": (
        auth,
        "if not same(right, bytes(buffer[at + 4 : at + SEAL_BYTES])):",
        "if False:",
    ),
    "tag compared in its first half only": (
        auth,
        "same(right, bytes(buffer[at + 4 : at + SEAL_BYTES]))",
        "same(right[:16], bytes(buffer[at + 4 : at + 20]))",
    ),
    "tag compared in its last four bytes only": (
        auth,
        "same(right, bytes(buffer[at + 4 : at + SEAL_BYTES]))",
        "same(right[28:], bytes(buffer[at + 32 : at + SEAL_BYTES]))",
    ),
    "tag does not cover the counter": (
        auth,
        'b"command" + pack("<I", counter) + sealed',
        'b"command" + sealed',
    ),
    "counter not checked": (auth, "if counter <= self._counter:", "if False:"),
    "counter checked, but not kept": (auth, "self._counter = counter\n", "pass\n"),
    "nonce reused after a restart": (
        auth,
        "self._starts = (self._starts + 1) & 0xFFFFFFFF",
        "self._starts = self._starts & 0xFFFFFFFF",
    ),
    "nonce reused within a start": (auth, "self._challenges += 1", "self._challenges = 1"),
    "wrong seals not slowed down": (
        auth,
        "keys.was_wrong(second, microsecond)",
        "pass",
    ),
    "the wait does not keep seals from being looked at": (
        auth,
        """            return layout.ERROR_BAD_ARGUMENT
        if keys.waits(second, microsecond):""",
        """            return layout.ERROR_BAD_ARGUMENT
        if False:""",
    ),
    "the wait does not grow": (auth, "FIRST_DELAY_MS << min(self._wrong - 1, 4)", "FIRST_DELAY_MS"),
    "the wait grows without end": (
        auth,
        """        delay = FIRST_DELAY_MS << min(self._wrong - 1, 4)
        return elapsed_ms(second, microsecond, self._wrong_s, self._wrong_us) < min(delay, LONGEST_DELAY_MS)""",
        """        delay = FIRST_DELAY_MS << min(self._wrong - 1, 8)
        return elapsed_ms(second, microsecond, self._wrong_s, self._wrong_us) < delay""",
    ),
    "session outlives the link": (
        auth,
        '"""The session ends with the link."""\n        self._session = b""',
        '"""The session ends with the link."""',
    ),
    "challenges without rest": (
        auth,
        "        if keys.has_key and not self.trusted and keys.asked_too_soon(second, microsecond):",
        "        if False:",
    ),
    "a key can be set by radio": (auth, "if command == layout.COMMAND_SET_KEY:", "if False:"),
    "everything is open": (
        auth,
        "if sealed or command == layout.COMMAND_HELLO",
        "if True or sealed or command == 1",
    ),
    "the nonce tells of the key": (
        auth,
        "drawn: bytes = self._random(_RANDOM_BYTES)",
        "drawn = self.key[:24]",
    ),
    "the key can be read with the calibration": (
        commands,
        "payload = self._recorder.store.calibration",
        "payload = self._gate.keys.key",
    ),
    "an open command that is refused has its effect": (
        commands,
        """            error = layout.ERROR_NOT_ALLOWED if name""",
        """            if command == layout.COMMAND_START: self._start([])
            error = layout.ERROR_NOT_ALLOWED if name""",
    ),
    "a sealed command that is refused has its effect": (
        commands,
        """            if error:
                self._last_answer""",
        """            if error:
                if buffer[at + SEAL_BYTES] == layout.COMMAND_START: self._start([])
                self._last_answer""",
    ),
    "a repeated command is carried out again": (
        commands,
        "if received == self._last and command not in _EACH_TIME:",
        "if False:",
    ),
    "the answer is remembered for the next link": (
        commands,
        """        self._last = b""
        self._last_answer = None

    def handle""",
        "\n    def handle",
    ),
}


def broken(module, old, new):
    """A copy of a module with one passage replaced."""
    path = Path(module.__file__)
    source = path.read_text("utf-8")
    assert source.count(old) == 1, "the passage to be broken is not there; mend the mutant"
    copy = types.ModuleType(module.__name__)
    copy.__package__ = module.__package__
    exec(compile(source.replace(old, new), str(path), "exec"), copy.__dict__)
    return copy


@pytest.mark.parametrize("name", MUTANTS)
def test_the_state_machine_notices(name):
    """It fails with this break."""
    module, old, new = MUTANTS[name]
    mutant = broken(module, old, new)
    modules = (mutant, commands) if module is auth else (auth, mutant)

    with pytest.raises((AssertionError, ValueError)):
        run_state_machine_as_test(machine(*modules), settings=QUICK)


def test_a_copy_without_a_break_passes():
    """The way mutants are loaded breaks nothing by itself."""
    same = broken(auth, "KEY_BYTES = const(32)", "KEY_BYTES = const(32)")
    run_state_machine_as_test(machine(same, commands), settings=settings(QUICK, max_examples=20))
