"""Where a session stands, by its own files."""

from pathlib import Path

from breakyard.document import to_plain
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import Session, create_session, open_session
from breakyard.session.standing import JobStep, next_step, own_keys, standing


def by_name(session: Session) -> dict[str, JobStep]:
    """The steps."""
    return {step.name: step for step in standing(session, "day")}


def test_a_new_session_begins_with_its_specimens(tmp_path: Path) -> None:
    """Then the rig; commands name the folder as its owner does."""
    session = create_session(tmp_path / "day", SessionInfo())
    steps = standing(session, "day")

    assert [step.name for step in steps] == [
        "planned", "rig", "calibrated", "recorded", "read", "compared", "reported",
    ]  # fmt: skip
    todo = next_step(steps)
    assert todo is not None
    assert (todo.name, todo.state) == ("planned", "to do")
    assert todo.command is not None
    assert todo.command.startswith("breakyard design day")


def test_specimens_in_groups_are_a_plan(tmp_path: Path) -> None:
    """The step after is the line that nobody has checked."""
    session = create_session(
        tmp_path / "day", SessionInfo(), [Specimen("S1", "bonded"), Specimen("S2", "screwed")]
    )

    assert by_name(session)["planned"].state == "done"
    assert by_name(session)["rig"].command == "breakyard rig day --template"


def test_its_face_for_programs(tmp_path: Path) -> None:
    """The common one: four keys; a step without a command has null."""
    session = create_session(tmp_path / "day", SessionInfo())
    faces = to_plain(standing(session, "day"))

    assert all(list(face) == ["step", "state", "said", "command"] for face in faces)
    assert next(face for face in faces if face["step"] == "read")["command"] is None


def test_all_done_has_no_next_step() -> None:
    """And what is not needed is not asked for."""
    assert next_step([JobStep("a", "done", "x"), JobStep("b", "not needed", "y")]) is None


def test_keys_of_its_owner(tmp_path: Path) -> None:
    """What session.toml knows is not among them."""
    session = create_session(tmp_path / "day", SessionInfo(unit="kgf"))
    file = session.layout.session_file
    file.write_text('tide = "low"\n' + file.read_text("utf-8"), "utf-8")

    assert own_keys(open_session(session.root)) == ("tide",)
