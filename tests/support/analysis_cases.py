"""From a simulated case to a summary, the way a user goes: calibration points in, counts in, summary out."""

from dataclasses import replace

import numpy as np

from breakyard.calibration import Calibration, KnownLoad, Plate, Point, calibrate, gravity_at, reference_load
from breakyard.calibration.known_loads import Piece
from breakyard.curve import LoadCurve, curve_from_columns, curve_from_run
from breakyard.pull.in_use import IDEAL
from breakyard.pull.summarize import Summary, summarize
from breakyard.run import Converter, Loss, Run, run_from_columns
from breakyard.simulate.calibrations import SMALL_KG, calibration
from breakyard.simulate.cell import Cell
from breakyard.simulate.converter import Conversions, counts_per_mv_v
from breakyard.simulate.families import CAPACITY_N, Case, family, instrument
from breakyard.simulate.untidy import OTHER_STANDARD
from breakyard.wire.layout import EndCause
from breakyard.wire.records import RunEnd

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


def unstated(cell: Cell, seed: int, kind: str) -> Calibration:
    """What the same points give to a user who says nothing of the cell."""
    made = calibrated(seed, kind, cell)
    return calibrate(made.points, name=kind)


def curve_of(conversions: Conversions, calibration_: Calibration, name: str) -> LoadCurve:
    """The curve of counts as the logger reads them."""
    run = run_from_columns(conversions.time_s, conversions.counts, name=name, converter=Converter(128))
    return curve_from_run(run, calibration_)


def run_of(case: Case, name: str, *, converter: Converter | None) -> Run:
    """The run of a case's counts; where the store was full, RUN_END says that samples were not stored."""
    read = case.conversions
    run = run_from_columns(read.time_s, read.counts, name=name, converter=converter)
    if case.ended != "store full":
        return run
    lost = int((case.truth.time_s[-1] - read.time_s[-1]) * case.converter.rate_hz)
    stored = len(read.counts)
    end = RunEnd(
        run=1,
        index=0,
        cause=EndCause.STORE_FULL,
        end_s=0,
        end_us=0,
        samples=stored + lost,
        samples_not_stored=lost,
        missed=0,
        clipped=0,
        doubtful=0,
        lowest_counts=int(read.counts.min()),
        highest_counts=int(read.counts.max()),
        peak_windows=0,
        sha256=bytes(32),
    )
    note = f"the store was full: {lost} samples were not stored"
    return replace(run, end=end, loss=Loss(missing_samples=lost, complete=False, notes=(note,)))


def shown_curve(case: Case, name: str, *, accuracy: float | None) -> LoadCurve:
    """The curve that another instrument recorded, as it is imported."""
    return curve_from_columns(case.conversions.time_s, case.shown_n, name=name, accuracy=accuracy)


def read_exactly(name: str, seed: int) -> tuple[Case, Summary]:
    """As `read_case`, but cell and calibration are without error: what remains are noise, sampling and filter."""
    case = family(name, seed, cell=Cell(CAPACITY_N, 2.0))
    if case.shows == "force":
        case = replace(case, gain_error=0.0)
        return case, summarize(shown_curve(case, f"{name} {seed}", accuracy=0.0), misalignment_deg=0.0)
    cell = case.cell
    newtons_per_count = cell.capacity_n / (cell.rated_output_mv_v * counts_per_mv_v(case.converter.gain))
    run = run_of(case, name, converter=Converter(128))
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
    return case, summarize(curve, filter_order=case.assumed_order, misalignment_deg=0.0, in_use=IDEAL)


def read_case(
    name: str, seed: int, kind: str = "good", cells: str = "bought", *, stated: bool = True
) -> tuple[Case, Summary]:
    """Draw one case of a family and summarize it. cells: see `bent`. The model's cell does in use what it did when it
    was calibrated, in line with the pull, and the user vouches for that.

    Not `stated`: the user says nothing. Counts were imported, of a converter that is not named, and the calibration
    knows no plate; a recording of force says no accuracy.
    """
    case = family(name, seed, cell=bent(instrument(seed)[0], seed, cells))
    label = f"{name} {seed}"
    if case.shows == "force":
        curve = shown_curve(case, label, accuracy=OTHER_STANDARD if stated else None)
        return case, summarize(curve, misalignment_deg=0.0 if stated else None)
    if not stated:
        run = run_of(case, label, converter=None)
        return case, summarize(curve_from_run(run, unstated(case.cell, seed, kind)))
    run = run_of(case, label, converter=Converter(128))
    curve = curve_from_run(run, calibrated(seed, kind, case.cell))
    return case, summarize(curve, filter_order=case.assumed_order, misalignment_deg=0.0, in_use=IDEAL)
