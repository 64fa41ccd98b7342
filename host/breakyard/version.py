"""The version of the package, as pyproject.toml has it."""

from typing import Final

VERSION: Final = "0.1.0"
