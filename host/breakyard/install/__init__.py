"""Puts the firmware onto a board: what is to be there, the settings file, and the way over mpremote."""

from breakyard.install.board import Board, BoardInfo
from breakyard.install.build import build
from breakyard.install.settings import with_settings
from breakyard.install.steps import Installed, install

__all__ = ["Board", "BoardInfo", "Installed", "build", "install", "with_settings"]
