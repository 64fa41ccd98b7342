"""Strangers, replays and restarts against the real command code: only the owner's sealed commands have any effect."""

from hypothesis import settings
from stranger_machine import machine

from logger.core import auth, commands

TestStrangers = machine(auth, commands).TestCase
TestStrangers.settings = settings(max_examples=100, stateful_step_count=40, deadline=None)
