"""The version of the package, as pyproject.toml has it."""

VERSION = "0.1.0"
