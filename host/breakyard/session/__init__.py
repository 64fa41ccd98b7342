"""The session folder: one outing's specimens, calibrations, raw records and what people add to them.

    2026-05-03-slipway/
      session.toml        place, latitude, height, unit, rig, logger
      specimens.csv       id, group, order, mass, notes: made for a spreadsheet
      calibrations/*.json each with its points, fit, covariance, budget and content hash
      runs/*.run          raw records, write-once      runs/*.toml  what people add
      runs/*.csv          originals of imported recordings, write-once
      FILES.txt           what each file is, and every key in it (see files/keys.py)
      results/            derived; may be deleted and rebuilt

`files/` knows texts and paths, one module for each kind of file. The modules beside it read the session: which pulls
there are, the calibration and the step response in force, summaries, comparison, report.
"""

from breakyard.session.session import Session, create_session, find_session, open_session

__all__ = ["Session", "create_session", "find_session", "open_session"]
