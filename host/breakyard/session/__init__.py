"""The session folder: one outing's specimens, calibrations, raw records and what people add to them.

    2026-05-03-slipway/
      session.toml        place, latitude, height, unit, rig, logger
      specimens.csv       id, group, order, mass, notes: made for a spreadsheet
      calibrations/*.json each with its points, fit, covariance, budget and content hash
      runs/*.run          raw records, write-once      runs/*.toml  what people add
      runs/*.csv          originals of imported recordings, write-once
      results/            derived; may be deleted and rebuilt

This package knows files and texts. It does not know what a run or a calibration means.
"""

from breakyard.session.session import Session, create_session, find_session, open_session

__all__ = ["Session", "create_session", "find_session", "open_session"]
