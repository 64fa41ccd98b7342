"""breakyard range and breakyard rig: exit status, one JSON document, one clear line, pictures."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
import typer

from breakyard.cli import range as range_command
from breakyard.cli import rig as rig_command
from breakyard.cli.output import guarded
from breakyard.plan.template import RIG_TEMPLATE
from breakyard.session import open_session
from breakyard.session.stopping import stop_load_n

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run one of the two commands; returns exit status, standard output and standard error."""
    monkeypatch.setenv("COLUMNS", "160")
    app = typer.Typer(pretty_exceptions_enable=False, rich_markup_mode=None)
    app.command("range")(range_command.command)
    app.command("rig")(rig_command.command)

    def call(*arguments: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            guarded(lambda: app(list(arguments)))
        out, err = capsys.readouterr()
        return int(ended.value.code or 0), out, err

    return call


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """A session folder whose session.toml holds the template's rig."""
    own = RIG_TEMPLATE.replace("cleat, bonded", "cleat, mine")  # else it is the example, which is told
    (tmp_path / "session.toml").write_text('unit = "kN"\n' + own, encoding="utf-8")
    return tmp_path


def test_a_range_that_fits_ends_with_0(run: Run) -> None:
    """In the unit of the question, with the first limit and a recommendation."""
    status, out, err = run("range", "300..500 kgf", "--capacity", "1 tf")

    assert (status, err) == (0, "")
    assert "safe overload, at 1500 kgf" in out
    assert "recommended: gain 128, cell 1000 kgf" in out
    assert "order 4" in out


def test_a_range_that_does_not_fit_ends_with_1(run: Run) -> None:
    """1.6 tf on 1 tf; JSON and text agree."""
    status, out, _ = run("range", "1.6 tf", "--capacity", "1 tf", "--surprise", "1", "--json")
    document = json.loads(out)

    assert status == 1
    assert document["schema"] == "breakyard.range/1"
    assert not document["ok"]
    assert run("range", "1.6 tf", "--capacity", "1 tf", "--surprise", "1")[0] == 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("range", "300 kg", "--capacity", "1 tf"), "kgf"),
        (("range", "300 kgf", "--capacity", "1000 kg"), "--capacity"),
        (("range", "300 kgf", "--capacity", "1 tf", "--gain", "100"), "gain 100"),
        (("range", "300 kgf", "--capacity", "1 tf", "--loading", "catapult"), "catapult"),
        (("range", "300 kgf", "--capacity", "1 tf", "--unit", "kg"), "kgf"),
        (("range", "300 kgf", "--capacity", "1 tf", "--picture", "x.gif"), ".png or .svg"),
        (("range", "300 kgf", "--capacity", "1 tf", "--rated-output", "200"), "mV/V"),
        (("rig", "nowhere.toml"), "nowhere.toml"),
    ],
)
def test_wrong_use_gets_one_line_and_2(run: Run, arguments: tuple[str, ...], words: str) -> None:
    """On standard error, nothing on standard output."""
    status, out, err = run(*arguments)

    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert words in err


def test_a_rig_is_read_from_the_session_in_its_unit(run: Run, session: Path) -> None:
    """Status 0, the cautions on the screen, the session's unit."""
    status, out, err = run("rig", str(session))

    assert (status, err) == (0, "")
    assert "kN" in out
    assert "Local codes and qualified people come first" in out
    assert "may lift or hold people" in out


def test_a_rig_that_cannot_hold_ends_with_1(run: Run, session: Path) -> None:
    """Ten times the load; the JSON document is the only thing on standard output and keeps the cautions."""
    status, out, _ = run("rig", str(session), "--expected", "5 tf", "--json")
    document = json.loads(out)

    assert status == 1
    assert document["specimen_is_weakest"] is False
    assert document["cautions"]
    assert {finding["code"] for finding in document["findings"]} >= {
        "not_weakest",
        "anchor_slides",
        "above_wll",
    }


def test_a_folder_without_a_rig_is_told_how_to_start(run: Run, tmp_path: Path) -> None:
    """Both no session and a session without the table."""
    status, _, err = run("rig", str(tmp_path))
    assert status == 2
    assert "--template" in err

    (tmp_path / "session.toml").write_text('rig = "winch and a block"\n', encoding="utf-8")
    status, _, err = run("rig", str(tmp_path))
    assert status == 2
    assert "--template" in err


def test_the_template_can_be_used(run: Run, tmp_path: Path) -> None:
    """breakyard rig --template > rig.toml; breakyard rig rig.toml."""
    _, out, _ = run("rig", "--template")
    (tmp_path / "rig.toml").write_text(out, encoding="utf-8")

    assert run("rig", str(tmp_path / "rig.toml"))[0] == 0


def test_pictures_are_written(run: Run, session: Path) -> None:
    """PNG and SVG, named in the JSON document."""
    png, svg = session / "range.png", session / "rig.svg"
    _, out, _ = run("range", "300 kgf", "--capacity", "1 tf", "--json", "--picture", str(png))
    run("rig", str(session), "--dark", "--picture", str(svg))

    assert json.loads(out)["picture"] == str(png)
    assert png.read_bytes().startswith(b"\x89PNG")
    assert b"aria-label" in svg.read_bytes()


def test_the_stop_load_is_shown_large(run: Run, session: Path) -> None:
    """In a frame of its own, and in the document."""
    status, out, _ = run("rig", str(session))

    assert status == 0
    assert "   STOP LOAD   " in out
    assert "=" * 60 in out
    assert json.loads(run("rig", str(session), "--json")[1])["stop"]["stated"]


def test_a_session_keeps_the_stop_load(run: Run, session: Path) -> None:
    """--stop writes it into [rig] and touches nothing else; the session and the next check know it."""
    file = session / "session.toml"
    before = file.read_text(encoding="utf-8")
    status, out, _ = run("rig", str(session), "--stop", "550 kgf")
    after = file.read_text(encoding="utf-8")

    assert status == 0
    assert "stop load kept" in out
    assert [line for line in after.splitlines() if not line.startswith("stop = ")] == [
        line for line in before.splitlines() if not line.startswith("stop = ")
    ]
    assert [line for line in after.splitlines() if line.startswith("stop = ")] == ['stop = "550 kgf"']
    assert stop_load_n(open_session(session)) == pytest.approx(550 * 9.80665)


def test_a_session_without_a_stated_stop_load_has_that_of_its_weakest_rating(session: Path) -> None:
    """The rod end: half of 12 kN."""
    file = session / "session.toml"
    lines = file.read_text(encoding="utf-8").splitlines()
    file.write_text("\n".join(line for line in lines if not line.startswith("stop = ")), encoding="utf-8")

    assert stop_load_n(open_session(session)) == pytest.approx(6000.0)


def test_a_run_up_ends_with_1(run: Run, session: Path) -> None:
    """Whatever else is strong enough."""
    status, out, _ = run("rig", str(session), "--loading", "jerk", "--expected", "20 kgf")

    assert status == 1
    assert "no: A jerk has no upper limit" in out


def test_a_range_that_fits_says_so_in_one_line(run: Run) -> None:
    """With its stop load; and no advice to take the gain that is in use."""
    _, out, _ = run(
        "range", "300..500 kgf", "--capacity", "1 tf", "--surprise", "1.2", "--seconds-to-peak", "20"
    )

    assert "\nfits: " in out
    assert "STOP LOAD of cell and converter: 1500 kgf" in out


def test_the_gain_in_use_is_never_recommended_against_clipping(run: Run) -> None:
    """1.9 tf on 1 tf at 1 mV/V, where gain 128 is already the best: a larger cell is the only way."""
    for gain in ("128", "64", "32"):
        _, out, _ = run("range", "4.5 tf", "--capacity", "1 tf", "--rated-output", "1", "--gain", gain)
        assert f"take gain {gain}" not in out
        assert f"Gain {gain} shows it" not in out
