"""From a simulated case to a summary, the way a user goes: calibration points in, counts in, summary out."""

from dataclasses import replace

import numpy as np

from breakyard.calibration import Calibration, KnownLoad, Plate, Point, calibrate, gravity_at, reference_load
from breakyard.calibration.known_loads import Piece
from breakyard.curve import LoadCurve, curve_from_run
from breakyard.pull.summarize import Summary, summarise
from breakyard.run import Converter, run_from_columns
from breakyard.simulate.calibrations import SMALL_KG, calibration
from breakyard.simulate.cell import Cell
from breakyard.simulate.converter import Conversions, counts_per_mv_v
from breakyard.simulate.families import CAPACITY_N, Case, family, instrument

KGF = 9.80665


def calibrated(seed: int, kind: str, cell: Cell) -> Calibration:
    """What a user with these masses or this reference cell would get for the instrument of a seed."""
    case = calibration(seed, kind, cell=cell)
    points = []
    for point in case.points:
        if point.stated_n is not None:
            load = reference_load(point.stated_n, 0.0, shared=case.reference_relative_standard)
        else:
            pieces = tuple(
                Piece(kg, case.weights.standard_kg, f"mass {i}", case.weights.density_kg_m3)
                for i, kg in enumerate(SMALL_KG[: round(point.mass_kg / SMALL_KG[0])])
            )
            load = KnownLoad(f"{point.mass_kg:g} kg", pieces)
        points.append(Point(load, point.counts, point.counts_standard))
    place = None if case.weights is None else gravity_at(case.weights.latitude_deg, case.weights.height_m)
    plate = Plate(cell.capacity_n, cell.plate_mv_v, nonlinearity=cell.nonlinearity, hysteresis=0.0002)
    return calibrate(points, plate=plate, gravity=place, name=kind)


def bent(cell: Cell, seed: int, cells: str) -> Cell:
    """The cell as bought, or ("any") bent anew in any way that its rating allows, all ways equally likely."""
    if cells == "bought":
        return cell
    a, b = np.random.default_rng([77, seed]).uniform(-1.0, 1.0, 2) * cell.nonlinearity
    return replace(cell, quadratic=float(a + b) / 2.0, cubic=float(a - b) / 2.0)


def curve_of(conversions: Conversions, calibration_: Calibration, name: str) -> LoadCurve:
    """The curve of counts as the logger reads them."""
    run = run_from_columns(conversions.time_s, conversions.counts, name=name, converter=Converter(128))
    return curve_from_run(run, calibration_)


def read_exactly(name: str, seed: int) -> tuple[Case, Summary]:
    """As `read_case`, but cell and calibration are without error: what remains are noise, sampling and filter."""
    case = family(name, seed, cell=Cell(CAPACITY_N, 2.0))
    newtons_per_count = CAPACITY_N / (2.0 * counts_per_mv_v(case.converter.gain))
    conversions = case.conversions
    run = run_from_columns(conversions.time_s, conversions.counts, name=name, converter=Converter(128))
    curve = LoadCurve(
        name=f"{name} {seed}",
        time_s=run.time_s,
        load_n=run.counts * newtons_per_count,
        usable=run.usable,
        clipped=run.clipped,
        period_s=run.period_s,
        gaps=run.gaps,
        converter=run.converter,
    )
    return case, summarise(curve, filter_order=case.assumed_order)


def read_case(name: str, seed: int, kind: str = "good", cells: str = "bought") -> tuple[Case, Summary]:
    """Draw one case of a family and summarise it. cells: see `bent`."""
    case = family(name, seed, cell=bent(instrument(seed)[0], seed, cells))
    curve = curve_of(case.conversions, calibrated(seed, kind, case.cell), f"{name} {seed}")
    return case, summarise(curve, filter_order=case.assumed_order)
