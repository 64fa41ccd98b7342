"""What goes wrong is a document, too, for the program that asked for one."""

from collections.abc import Callable
from pathlib import Path

import pytest

from .conftest import Said

Breakyard = Callable[..., Said]


@pytest.mark.parametrize(
    ("words", "kind", "part"),
    [
        (["summarize", "missing.run"], "DataError", "there is no such file"),
        (["summarize", "."], "UsageError", "no session here"),
        (["range", "300 kg", "--capacity", "1 tf"], "UnitError", "kgf"),
        (["summarize"], "UsageError", "Missing argument"),
        (["summarize", "x.run", "--coverage", "2"], "UsageError", "--coverage"),
        (["nonsense"], "UsageError", "nonsense"),
        (["import", "missing.csv", "--session", "yard"], "OSError", "missing.csv"),
    ],
)
def test_a_failure_is_a_document(breakyard: Breakyard, words: list[str], kind: str, part: str) -> None:
    """Status 2, a line on standard error for people, and on standard output one document that says the same."""
    said = breakyard(*words, "--json")
    plain = breakyard(*words)

    assert said.status == plain.status == 2
    assert {"schema": "breakyard.error/1", "status": 2, "kind": kind} == {
        key: value for key, value in said.document.items() if key != "problem"
    }
    assert part in said.document["problem"]
    assert part in said.err
    assert plain.out == ""


def test_a_document_that_was_printed_stands_alone(breakyard: Breakyard, tmp_path: Path) -> None:
    """Several files of which one is refused: the document of the others names it, and no second one follows."""
    (tmp_path / "a.csv").write_text("Time [s],Load [N]\n" + "".join(f"{i},{i % 7}\n" for i in range(50)))

    said = breakyard("import", "a.csv", "missing.csv", "--session", "yard", "--json")

    assert said.status == 2
    assert said.document["schema"] == "breakyard.imports/1"
    assert said.document["refused"][0]["file"] == "missing.csv"
