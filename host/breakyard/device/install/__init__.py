"""Puts the firmware onto a board: what is to be there, the settings file, and the way over mpremote."""

from breakyard.device.install.board import Board, BoardInfo
from breakyard.device.install.build import build
from breakyard.device.install.settings import with_settings
from breakyard.device.install.steps import Installed, install

__all__ = ["Board", "BoardInfo", "Installed", "build", "install", "with_settings"]
