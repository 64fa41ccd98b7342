"""The page's modules, tested in node by files beside this one: `wire/` is the third implementation of the protocol."""

import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@pytest.mark.parametrize(
    "path", sorted(HERE.glob("*/*.test.mjs")), ids=lambda path: f"{path.parent.name}/{path.stem}"
)
def test_in_node(path: Path) -> None:
    """Every test of the file passes in node."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node (20 or later)")

    done = subprocess.run(
        [node, "--test", "--test-reporter=spec", path.name],
        cwd=path.parent,
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stdout + done.stderr


def test_the_modules_need_nothing() -> None:
    """Plain modules for a browser as well: they import nothing but one another, and little of it goes over the air."""
    modules = sorted((Path(__file__).parents[2] / "host" / "page" / "wire").glob("*.mjs"))
    imports = [
        line.split(" from ")[1]
        for module in modules
        for line in module.read_text("utf-8").splitlines()
        if " from " in line and line.startswith(("import", "}"))
    ]

    assert len(modules) >= 7
    assert all(source.startswith('"./') for source in imports), imports
    assert sum(module.stat().st_size for module in modules) < 62_000
