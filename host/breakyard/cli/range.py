"""breakyard range: cell, gain and rate against the load that is expected."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from breakyard.cli.output import JsonOption, Output, UnitOption

if TYPE_CHECKING:
    from breakyard.plan.ranges import RangePlan


def command(
    expected: Annotated[
        str, typer.Argument(help='Load at which it should break, "400 kgf" or "300..500 kgf".')
    ],
    capacity: Annotated[str, typer.Option(help='Capacity on the plate of each cell, as "1 tf".')],
    rated_output: Annotated[float, typer.Option(help="Rated output on the plate, in mV/V.")] = 2.0,
    gain: Annotated[int, typer.Option(help="128, 64, or 32 (channel B).")] = 128,
    rate: Annotated[float, typer.Option(help="Conversions per second.")] = 80.0,
    cells: Annotated[int, typer.Option(help="Cells in parallel.")] = 1,
    ratio: Annotated[
        float, typer.Option(help="Load on the cells per load on the specimen (lever, purchase).")
    ] = 1.0,
    sheaves: Annotated[int, typer.Option(help="Sheaves between specimen and cell.")] = 0,
    loading: Annotated[
        str, typer.Option(help="How the load comes: hand winch, winch, hoist, slow vehicle, jerk.")
    ] = "winch",
    seconds_to_peak: Annotated[
        float | None, typer.Option(help="Seconds from slack to the peak; default: usual for the loading.")
    ] = None,
    surprise: Annotated[
        float, typer.Option(help="The specimen may bear this many times as much as expected.")
    ] = 2.0,
    supply: Annotated[float, typer.Option(help="Excitation of the cell in volts.")] = 3.3,
    nonlinearity: Annotated[
        float | None, typer.Option(help="Non-linearity in percent of the capacity, from the cell's sheet.")
    ] = None,
    safe_overload: Annotated[float, typer.Option(help="Safe load limit in percent of the capacity.")] = 150.0,
    ultimate: Annotated[float, typer.Option(help="Ultimate load in percent of the capacity.")] = 300.0,
    picture: Annotated[
        Path | None, typer.Option("--picture", "-p", help="Also draw it: a file ending in .png or .svg.")
    ] = None,
    dark: Annotated[bool, typer.Option("--dark", help="Draw on a dark ground.")] = False,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check that cell, gain and rate fit the expected load.

    Says what clips or is overloaded first and at what load, the smallest step and the noise, the shortest event and the
    fastest loading, and recommends gain and cell. Ends with status 1 if the expected load does not fit.

    Example: breakyard range "300..500 kgf" --capacity "1 tf" --rated-output 2 --loading winch
    """
    from breakyard.calibration.plate import Plate
    from breakyard.cli.options import option
    from breakyard.plan.describe import find_loading
    from breakyard.plan.quantities import parse_force_range, unit_of
    from breakyard.plan.ranges import RangeQuestion, plan_range
    from breakyard.session.files.pictures import save_picture
    from breakyard.units import force_unit, parse_force

    low_n, high_n = option("the expected load", parse_force_range, expected)
    shown = force_unit(unit) if unit else unit_of(expected)
    question = RangeQuestion(
        expected_low_n=low_n,
        expected_high_n=high_n,
        plate=Plate(
            capacity_n=option("--capacity", parse_force, capacity),
            rated_output_mv_v=rated_output,
            nonlinearity=None if nonlinearity is None else nonlinearity / 100.0,
        ),
        gain=gain,
        rate_hz=rate,
        cells=cells,
        ratio=ratio,
        sheaves=sheaves,
        loading=find_loading(loading),
        seconds_to_peak=None if seconds_to_peak is None else (seconds_to_peak, seconds_to_peak),
        surprise=surprise,
        supply_v=supply,
        safe_overload=safe_overload / 100.0,
        ultimate=ultimate / 100.0,
    )
    plan = plan_range(question, unit=shown)
    out = Output(as_json)
    if picture is not None:
        from breakyard.report.figures.plan_figures import range_figure

        save_picture(range_figure(plan, unit=shown, mode="dark" if dark else "light"), picture)
    out.document(plan.to_json() | ({"picture": str(picture)} if picture else {}))
    show(out, plan, shown)
    if picture is not None:
        out.say(f"written: {picture}")
    if not plan.ok:
        raise typer.Exit(1)


def show(out: Output, plan: "RangePlan", unit: str) -> None:
    """Print a range plan for people."""
    from breakyard.plan.quantities import show_force, show_force_down, show_number, show_percent

    out.table(
        "The load on cell and converter",
        ["load", f"on the specimen, {unit}", "converter", "capacity", "safe overload", "ultimate"],
        [
            [
                name,
                show_force(point.load_n, unit).split()[0],
                show_percent(point.of_converter),
                show_percent(point.of_capacity),
                show_percent(point.of_safe_overload),
                show_percent(point.of_ultimate),
            ]
            for name, point in (
                ("expected", plan.at_expected),
                (f"surprise x {show_number(plan.question.surprise)}", plan.at_surprise),
            )
        ],
    )
    out.say(plan.verdict)
    out.say(
        f"STOP LOAD of cell and converter: {show_force_down(plan.stop_n, unit)}; break the pull off there at the latest"
    )
    first = "the converter clips" if plan.first.name == "clip" else "the cell passes its safe overload"
    out.say(f"first limit: {first}, at {show_force(plan.first.load_n, unit)}")
    out.say(
        f"smallest step {show_force(plan.step_n, unit)}, noise {show_force(plan.noise_n, unit)} rms "
        f"({show_number(plan.question.rate_hz)}/s, gain {plan.question.gain}); the cell's own error "
        f"{show_force(plan.cell_error_n, unit)}"
    )
    out.say(
        f"shortest event for 1 %: {show_number(plan.shortest_event_s)} s (ASTM STP19268S); fastest loading for 1 % by "
        f"the largest sample: {show_force(plan.fastest_order_4_n_per_s, unit)}/s"
    )
    out.say(
        "  (a ramp that ends in a sudden break: rate x load x 1 % / (order / 2 + 1) with a filter of order 4; "
        f"{show_force(plan.fastest_order_3_n_per_s, unit)}/s for order 3)"
    )
    advice = plan.recommendation
    cell = "no common size fits" if advice.capacity_n is None else f"{show_force(advice.capacity_n, unit)}"
    out.say(f"recommended: gain {advice.gain}, cell {cell}")
    for finding in plan.findings:
        out.say(f"{finding.level}: {finding.text}")
