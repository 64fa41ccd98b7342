"""Strangers, replays and restarts against the real command code: only the owner's sealed commands have any effect."""

from hypothesis import settings
from stranger_machine import machine

from breakyard.device.client.client import UNLOCK_WAITS_S
from logger.core import auth, commands

TestStrangers = machine(auth, commands).TestCase
TestStrangers.settings = settings(max_examples=100, stateful_step_count=40, deadline=None)


def test_the_host_waits_for_as_long_as_strangers_can_make_the_logger_look_away():
    """So that who comes after them is let in without trying again."""
    assert sum(UNLOCK_WAITS_S) * 1000 > auth.LONGEST_DELAY_MS
