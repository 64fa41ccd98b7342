"""The workflow for hosted machines was never run; what can be known of it here is that it asks for what there is."""

import re
import sys
import tomllib
from pathlib import Path


def test_its_commands_and_pythons_are_there(root: Path) -> None:
    """Verbs of tasks.py, and Pythons that the package allows; the oldest among them."""
    text = (root / ".ci" / "hosted.yml").read_text(encoding="utf-8")
    verbs = set(re.findall(r"run: python tasks\.py (\w+)", text))
    pythons = re.findall(r'"(3\.\d+)"', text)
    tasks = (root / "tasks.py").read_text(encoding="utf-8")
    lowest = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"][
        "requires-python"
    ]

    assert verbs
    assert all(f'    "{verb}": {verb},' in tasks for verb in verbs)
    assert f">={pythons[0]}" == lowest
    assert sys.version_info >= tuple(map(int, pythons[0].split(".")))
