"""The recipes of host/README.md and the examples in docstrings are run as they stand."""

import doctest
import re
from pathlib import Path

import pytest

import breakyard

RECIPES = re.findall(
    r"^## (.*?)$.*?```python\n(.*?)```",
    (Path(__file__).parents[2] / "host" / "README.md").read_text("utf-8"),
    re.S | re.M,
)


def test_there_are_ten() -> None:
    assert len(RECIPES) == 10


@pytest.mark.parametrize(("title", "code"), RECIPES, ids=[title for title, _ in RECIPES])
def test_a_recipe_runs(
    title: str, code: str, beside_the_demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each alone, beside the demo's session; it prints something, and only what it should."""
    exec(compile(code, title, "exec"), {"__name__": title})

    assert capsys.readouterr().out.strip()


@pytest.mark.parametrize("name", breakyard.__all__)
def test_every_public_name_says_what_it_is_and_shows_an_example(name: str, beside_the_demo: Path) -> None:
    """Its docstring and those of its methods; the examples give what they say."""
    thing = getattr(breakyard, name)

    assert thing.__doc__
    tests = [test for test in doctest.DocTestFinder(recurse=False).find(thing, name) if test.examples]
    if name not in ("AsyncLogger", "BreakyardError"):
        assert tests
    for test in tests:
        result = doctest.DocTestRunner(verbose=False).run(test)
        assert result.failed == 0
