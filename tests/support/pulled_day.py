"""A day at the yard for tests: a session whose first specimens were pulled. Invented."""

from pathlib import Path

import numpy as np

from breakyard.formats.read_csv import parse_csv
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session


def pulled_day(root: Path, *specimens: Specimen, unit: str = "kgf", still_to_come: int = 0) -> Path:
    """A session with a pull of each specimen but the last ones: 300 N/s up to 3 kN and more, then gone."""
    session = create_session(root, SessionInfo(place="yard (invented)", unit=unit), specimens)
    for at, one in enumerate(specimens[: len(specimens) - still_to_come]):
        time = np.arange(0.0, 14.0, 0.02)
        load = np.interp(time, [0.0, 3.0, 10.0, 10.01, 14.0], [0.0, 0.0, 3000.0 + 40.0 * at, 0.0, 0.0])
        load += 0.3 * np.random.default_rng(at).standard_normal(len(time))
        data = "time_s,load_N\n" + "\n".join(f"{t:.2f},{f:.3f}" for t, f in zip(time, load, strict=True))
        session.add_recording(
            one.id, data.encode(), parse_csv(data.encode(), name=one.id), specimen=one.id, accuracy=0.001
        )
    return root
