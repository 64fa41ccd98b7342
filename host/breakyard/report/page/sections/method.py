"""How the numbers were made, what the calibration carries, and everything needed to make them again."""

import statistics

from breakyard.calibration import Calibration
from breakyard.curve import UNSTATED_ACCURACY
from breakyard.report.figures.calibration_figure import calibration_figure
from breakyard.report.page.content import Content
from breakyard.report.page.inline import both_widths, figure
from breakyard.report.page.markup import Child, Markup, items, join, table, tag
from breakyard.report.words.budget_rows import meaning_of, percent_text
from breakyard.report.words.values import load_text
from breakyard.units import from_newtons


def how_made(content: Content) -> Markup:
    """From counts to an interval, step by step, with this session's numbers."""
    summaries = [entry.summary for entry in content.entries]
    rates = [summary.run.rate_hz for summary in summaries]
    steps = [
        f"Recorded: {_span(rates)} samples a second, each with its own time.",
        "Kept: raw counts as they came, never changed; everything here is computed from them.",
        "Zero: the unloaded reading before each pull is subtracted; its drift and noise are part of the interval.",
    ]
    if content.calibrations:
        steps.append("Newtons: by a calibration with known loads, shown below with its limits.")
    others = [entry.curve for entry in content.entries if entry.curve.calibration is None]
    if any(curve.accuracy is not None for curve in others):
        steps.append(
            "Recordings of other instruments are taken as they came; their accuracy is what their owner stated."
        )
    if any(curve.accuracy is None for curve in others):
        steps.append(
            "Recordings of other instruments are taken as they came; where nobody stated their accuracy, "
            f"{100 * UNSTATED_ACCURACY:g} % of the load (standard uncertainty) is assumed."
        )
    steps += [
        "Glitches: a single sample that no force can make through the converter's filter is left out, and reported.",
        _regimes([summary.peak.regime for summary in summaries]),
        "Interval: each source of uncertainty is estimated by itself with its shape; all are propagated (JCGM 101).",
        f"Coverage: the intervals are made to hold the true load in {100 * content.coverage:g} % of such cases.",
        'Bound: where a peak is only known to lie above a load, it says "at least", and no more.',
    ]
    return join(tag("ol", *(tag("li", step) for step in steps)), _budget(content))


def _span(values: list[float]) -> str:
    low, high = f"{min(values):.0f}", f"{max(values):.0f}"
    return low if low == high else f"{low} to {high}"


def _regimes(found: list[str]) -> str:
    told = {
        "slow": "from the largest samples, because the load changed slowly",
        "ramp_and_break": "recovered through the converter's filter, because a steep ramp ended in a break",
        "too_short": "as a lower bound, because the event was too short for the rate",
    }
    parts = [f"{found.count(name)} {words}" for name, words in told.items() if name in found]
    return f"Peak: read {'; '.join(parts)}."


def _budget(content: Content) -> Markup | None:
    """Every source with its size over all pulls, in shares of each pull's peak."""
    shares: dict[str, list[float]] = {}
    for entry in content.entries:
        for line in entry.summary.budget:
            if entry.summary.peak.estimate_n > 0.0:
                shares.setdefault(line.source, []).append(line.standard_n / entry.summary.peak.estimate_n)
    if not shares:
        return None
    ordered = sorted(shares.items(), key=lambda item: -max(item[1]))
    rows: list[list[Child]] = [
        [
            source,
            percent_text(statistics.median(values)),
            percent_text(max(values)),
            f"{len(values)}",
            meaning_of(source),
        ]
        for source, values in ordered
    ]
    return table(
        "Where the uncertainty comes from: standard uncertainties in percent of the peak",
        ["Source", "Median", "Largest", "Pulls", "What it is"],
        rows,
        stacked=True,
    )


def calibrations(content: Content) -> Markup:
    """Each calibration with its picture, its limits, its points. Says so where there is none."""
    if not content.calibrations:
        return tag(
            "p",
            "No calibration was used: the loads are those that another instrument showed. Whoever reads them needs "
            "that instrument's certificate.",
        )
    return join(*(_calibration(content, one, at) for at, one in enumerate(content.calibrations)))


def _calibration(content: Content, calibration: Calibration, at: int) -> Markup:
    unit = content.unit
    peaks = [
        entry.summary.peak.estimate_n
        for entry in content.entries
        if entry.summary.run.calibration_hash == calibration.content_hash
    ]
    highest, known = max(peaks, default=0.0), calibration.highest_known_n
    capacity = calibration.plate.capacity_n if calibration.plate is not None else 0.0
    end_n = 1.05 * max(highest, capacity, known)
    pictures = both_widths(
        lambda mode, form: calibration_figure(
            calibration, unit=unit, up_to_n=end_n, coverage=content.coverage, mode=mode, form=form
        ),
        f"calibration-{at}",
    )
    reach = f"Known loads reach {load_text(known, unit)} {unit}"
    if highest > 1.01 * known:
        reach += (
            f"; the highest pull, {load_text(highest, unit)} {unit}, is {highest / known:.1f} times that. Beyond the "
            "known loads nothing was compared: the interval there rests on the cell's plate and on how far a cell may "
            "bend."
        )
    else:
        reach += ", and every pull lies within them." if peaks else "."
    if capacity and highest > capacity:
        limit = f"{load_text(capacity, unit)} {unit}"
        reach += f" The cell's capacity, {limit}, was exceeded: check its zero and a known load."
    loads = [point.load.force(calibration.gravity, calibration.air).newtons for point in calibration.points]
    rows: list[list[Child]] = [
        [
            point.load.text,
            f"{from_newtons(load, unit):.6g}",
            f"{point.counts:.0f}",
            f"{from_newtons(residual, unit):+.2g}",
        ]
        for point, load, residual in zip(calibration.points, loads, calibration.residuals_n, strict=True)
    ]
    facts = [
        f"Made {calibration.created}" if calibration.created else "",
        f"Polynomial of degree {calibration.degree} through {len(calibration.points)} points",
        "" if calibration.gain is None else f"Converter's gain {calibration.gain}",
        _plate(calibration, unit),
    ]
    return join(
        tag("h3", calibration.name or "Calibration"),
        tag("p", reach),
        figure(
            pictures,
            "Counts and known loads, the interval of a load anywhere, and what the line leaves over.",
        ),
        items([*calibration.sentences, *(fact + "." for fact in facts if fact)], "small"),
        table(
            "The known loads",
            ["Known load", f"Force [{unit}]", "Counts", f"Known less line [{unit}]"],
            rows,
            stacked=True,
        ),
    )


def _plate(calibration: Calibration, unit: str) -> str:
    plate = calibration.plate
    if plate is None:
        return "Nothing is known of the cell's plate"
    parts = [f"capacity {load_text(plate.capacity_n, unit)} {unit}"]
    if plate.rated_output_mv_v is not None:
        parts.append(f"{plate.rated_output_mv_v:g} mV/V")
    if plate.nonlinearity is not None:
        parts.append(f"non-linearity {100 * plate.nonlinearity:g} %")
    if plate.hysteresis is not None:
        parts.append(f"hysteresis {100 * plate.hysteresis:g} %")
    return f"The cell's plate: {', '.join(parts)}"


def recompute(content: Content) -> Markup:
    """Commands, settings, versions and hashes."""
    settings = [join(tag("dt", name), tag("dd", value)) for name, value in content.settings]
    versions = [join(tag("dt", name), tag("dd", value)) for name, value in content.versions]
    hashes: list[list[Child]] = [
        [tag("code", one.path), f"{one.size}", tag("code", one.sha256, class_="hash")]
        for one in content.files
    ]
    made = [
        [tag("b", one.name or "calibration"), tag("code", one.content_hash, class_="hash")]
        for one in content.calibrations
    ]
    return join(
        tag("p", "From the session's folder, these commands make the same numbers again:"),
        tag("pre", tag("code", "\n".join(content.commands)), tabindex="0") if content.commands else None,
        tag("h3", "Settings") if settings else None,
        tag("dl", *settings, class_="facts") if settings else None,
        tag("h3", "Versions") if versions else None,
        tag("dl", *versions, class_="facts") if versions else None,
        table(
            "Files that everything was computed from",
            ["File", "Bytes", "SHA-256"],
            hashes,
            stacked=True,
        )
        if hashes
        else None,
        table("Content of the calibrations", ["Calibration", "SHA-256 of its content"], made, stacked=True)
        if made
        else None,
    )
