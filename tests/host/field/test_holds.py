"""What the pages are told of loads that are to be held."""

from pathlib import Path

from breakyard.field.station import holds_of
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session


def test_each_specimen_has_its_own_and_one_that_cannot_be_read_none(tmp_path: Path) -> None:
    """A load with its time; nothing asked; a mass in place of a load."""
    rows = [
        Specimen("A1", more={"proof_load": "5 kN", "proof_s": "60"}),
        Specimen("A2"),
        Specimen("A3", more={"proof_load": "500 kg", "proof_s": "60"}),
        Specimen("A4", more={"proof_load_kgf": "100"}),
    ]
    session = create_session(tmp_path / "day", SessionInfo(), rows)

    assert holds_of(session, session.specimens()) == {"A1": {"load_n": 5000.0, "for_s": 60.0}}
