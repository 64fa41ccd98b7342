"""breakyard video: the load burnt into the film of a pull, as subtitles, side by side, or alone."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from breakyard.cli.options import CalibrationOption, chosen_of
from breakyard.cli.output import STATUS_NO, JsonOption, Output, UnitOption
from breakyard.errors import DataError, UsageError

if TYPE_CHECKING:
    from breakyard.curve import LoadCurve
    from breakyard.session.options import ReadOptions
    from breakyard.session.reading import PullResult
    from breakyard.video.alignment import Alignment
    from breakyard.video.burn import Made, Style
    from breakyard.video.clip import Clip
    from breakyard.video.layout import Part
    from breakyard.video.readout import ReadOut


class CornerName(StrEnum):
    """Where the read-out lies."""

    TOP_LEFT = "top-left"
    TOP_RIGHT = "top-right"
    BOTTOM_LEFT = "bottom-left"
    BOTTOM_RIGHT = "bottom-right"


class PlateShade(StrEnum):
    """Light letters on a dark plate, or the reverse."""

    DARK = "dark"
    LIGHT = "light"


class Crop(StrEnum):
    """What of the picture is kept."""

    UPRIGHT = "upright"
    SQUARE = "square"


class TogetherAt(StrEnum):
    """At which moment the clips of several pulls are together."""

    BREAK = "break"
    ONSET = "onset"


TEXTS: Final = (".srt", ".vtt")
FILMS: Final = (".mp4", ".m4v", ".mov")


def command(
    what: Annotated[
        Path,
        typer.Argument(metavar="SESSION_OR_RUN", help="The session's folder, or the recording of the pull."),
    ],
    clips: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="CLIP", help="The film of the pull; with --side-by-side two to four, or specimens."
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            help="Film to write (.mp4; .gif without a clip); default: in the session's results/.",
        ),
    ] = None,
    break_at: Annotated[
        float | None,
        typer.Option(
            metavar="SECONDS", help="The first moment of the clip that shows it broken (or let go)."
        ),
    ] = None,
    onset_at: Annotated[
        float | None,
        typer.Option(
            metavar="SECONDS",
            help="When the line came taut in the clip: for one that ends before the break; with --break-at it tells "
            "how far a slow-motion clip is stretched.",
        ),
    ] = None,
    distance: Annotated[
        float | None,
        typer.Option(
            metavar="M", min=0.0, help="From the specimen to the camera: sound takes 2.9 ms a metre."
        ),
    ] = None,
    temperature: Annotated[
        float | None,
        typer.Option(metavar="C", min=-60.0, max=60.0, help="Of the air, for the speed of sound."),
    ] = None,
    slow_motion: Annotated[
        float | None,
        typer.Option(metavar="N", min=0.05, help="The clip shows things N times slower than they were."),
    ] = None,
    look_again: Annotated[
        bool,
        typer.Option("--look-again", help="Look for the break anew, whatever the notes keep of this clip."),
    ] = False,
    corner: Annotated[CornerName, typer.Option(help="Where the read-out lies.")] = CornerName.BOTTOM_LEFT,
    plate: Annotated[
        PlateShade, typer.Option(help="Shade of the plate behind the read-out.")
    ] = PlateShade.DARK,
    leave_out: Annotated[
        str,
        typer.Option(metavar="PARTS", help="Any of curve, group, date, largest, step; with commas between."),
    ] = "",
    start: Annotated[
        float | None,
        typer.Option(
            "--from",
            metavar="SECONDS",
            help="Begin this long after the break; --from -10: before it.",
        ),
    ] = None,
    end: Annotated[
        float | None,
        typer.Option("--to", metavar="SECONDS", help="End this long after the break: --to 3."),
    ] = None,
    slow: Annotated[
        float | None,
        typer.Option(
            metavar="MS", min=0.0, help="Show the last milliseconds before the break in slow motion."
        ),
    ] = None,
    slower: Annotated[
        float | None,
        typer.Option(metavar="N", min=1.0, max=100.0, help="How many times; default: 8, without a clip 20."),
    ] = None,
    crop: Annotated[Crop | None, typer.Option(help="upright (9:16) or square, from the middle.")] = None,
    subtitles: Annotated[
        bool,
        typer.Option("--subtitles", help="Only add a subtitle track (OUT.mp4), or write OUT.srt or OUT.vtt."),
    ] = False,
    side_by_side: Annotated[
        bool,
        typer.Option(
            "--side-by-side", help="Several clips in one picture without sound, their curves below."
        ),
    ] = False,
    together: Annotated[
        TogetherAt, typer.Option(help="What the pulls show at the same moment.")
    ] = TogetherAt.BREAK,
    no_clip: Annotated[
        bool, typer.Option("--no-clip", help="The curve as it grows; no film is needed. Also as .gif.")
    ] = False,
    number: Annotated[
        int | None, typer.Option("--pull", min=1, help="Which pull of a recording of several.")
    ] = None,
    calibration: CalibrationOption = None,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Burn the load into the film of a pull, in step with it.

    The break is looked for in sound and picture. Where it is not sure, a sheet of pictures with their times is written,
    and --break-at says which of them it is. What was found is kept in the run's notes. Needs the extra: pip install
    'breakyard[video]'.

    Example: breakyard video slipway B1.mp4 -o B1-read.mp4
    """
    from breakyard.session.options import ReadOptions
    from breakyard.video.burn import SLOWER, Style
    from breakyard.video.needed import need_pyav

    need_pyav()
    numbers = {"--break-at": break_at, "--onset-at": onset_at, "--distance": distance, "--from": start}
    numbers |= {"--temperature": temperature, "--slow-motion": slow_motion, "--to": end, "--slow": slow}
    for option, value in numbers.items():
        if value is not None and not math.isfinite(value):
            raise UsageError(f"{option} {value}: give a number")
    out = Output(as_json)
    style = Style(
        corner=corner.value,
        shade=plate.value,
        leave_out=_parts(leave_out),
        crop=None if crop is None else crop.value,
        from_s=start,
        to_s=end,
        slow_s=(slow or 0.0) / 1000.0,
        slower=slower or SLOWER,
    )
    if start is not None and end is not None and not start < end:
        raise UsageError(f"--from {start:g} --to {end:g}: the end must come after the beginning")
    options = ReadOptions(calibration)
    said = ClipOptions(break_at, onset_at, distance, temperature, slow_motion, look_again)
    names = clips or []
    if no_clip:
        _without_clip(out, what, names, output, number, options, unit, style, slower)
        return
    if side_by_side:
        _side_by_side(out, what, names, output, options, unit, style, said, together)
        return
    if len(names) != 1:
        raise UsageError(
            f"{len(names)} clips were given: give one; several with --side-by-side, none with --no-clip"
        )
    film = _find(out, what, Path(names[0]), number, options, unit, said)
    _write_one(out, film, output, style, subtitles)


@dataclass(frozen=True, slots=True)
class ClipOptions:
    """What the options say of a clip."""

    break_at: float | None = None
    onset_at: float | None = None
    distance: float | None = None
    temperature: float | None = None
    slow_motion: float | None = None
    look_again: bool = False

    @property
    def anything(self) -> bool:
        """Whether what is kept of the clip is not to be used."""
        return self.look_again or any(
            one is not None
            for one in (self.break_at, self.onset_at, self.distance, self.temperature, self.slow_motion)
        )


@dataclass(frozen=True, slots=True)
class ClipAndPull:
    """A clip and its pull, side by side."""

    clip: "Clip"
    result: "PullResult"
    curve: "LoadCurve"
    readout: "ReadOut"
    alignment: "Alignment"
    sheet: Path | None
    words: tuple[str, ...]
    kept: bool

    @property
    def rate_n_per_s(self) -> float:
        """How fast the load rose."""
        assert self.result.summary is not None
        return self.result.summary.rate.median_n_per_s


def _parts(text: str) -> "frozenset[Part]":
    from breakyard.video.layout import PARTS

    found = frozenset(part.strip() for part in text.split(",") if part.strip())
    if unknown := sorted(found - set(PARTS)):
        always = 'specimen, load, unit, peak and "measured, not a rating" stay'
        raise UsageError(f'--leave-out "{unknown[0]}": what can be left out is {", ".join(PARTS)}; {always}')
    return frozenset(part for part in PARTS if part in found)


def _find(
    out: Output,
    what: Path,
    path: Path,
    number: int | None,
    options: "ReadOptions",
    unit: str | None,
    said: ClipOptions,
) -> ClipAndPull:
    """Read the clip, find its pull, and put the two side by side. Raises: BreakyardError, typer.Exit (not sure)."""
    from breakyard.session.filming import keep_clip, kept_of, known_of, readout_of
    from breakyard.session.finding import find_pulls, shown_unit
    from breakyard.video.alignment import Filmed
    from breakyard.video.clip import read_clip
    from breakyard.video.find import Stated, find_alignment

    clip = read_clip(path)
    pulls = find_pulls([what])
    result, curve, words = _pull_of(out, clip, pulls, what, number, options)
    shown = shown_unit(unit, pulls)
    readout = readout_of(result, curve, shown)
    assert result.summary is not None
    kept = kept_of(result.pull, path)
    if kept is not None and not said.anything:
        return ClipAndPull(clip, result, curve, readout, kept.alignment(), None, words, kept=True)
    stretch = said.slow_motion or clip.stretch
    if said.slow_motion is None and clip.stretch != 1.0:
        words = (*words, f"the file says that it is stretched {clip.stretch:g} times (slow motion)")
    filmed = Filmed(said.distance, said.temperature, stretch)
    known = known_of(result.pull, curve, result.summary)
    out.say(f"{path.name}: looking for the {known.over.what} of {result.label} ...")
    found = find_alignment(clip, known, filmed, Stated(said.break_at, said.onset_at))
    if found is None:
        raise DataError(f"{path}: {_nothing_found(clip, known.broke)}")
    words = (*words, *found.words)
    sheet = None
    try:  # a session on a medium that takes no writing can be read all the same
        sheet = _write_sheet(clip, found, result)
        if found.sure and keep_clip(result.pull, path, found):
            out.say(f"kept in the notes of {result.pull.path.stem}")
    except DataError as error:
        out.warn(f"found, but not kept: {error}")
    if not found.sure:
        _not_sure(out, clip, found, result, sheet, words)
    return ClipAndPull(clip, result, curve, readout, found, sheet, words, kept=False)


def _nothing_found(clip: "Clip", broke: bool) -> str:
    if not broke:
        return "the specimen did not break: say --break-at SECONDS (when it was let go) or --onset-at SECONDS"
    sound = "" if clip.sound else " (the clip has no sound)"
    return (
        f"nothing in it looks or sounds like the break{sound}; say --break-at SECONDS, or --onset-at SECONDS for "
        "a clip that ends before it"
    )


def _pull_of(
    out: Output,
    clip: "Clip",
    pulls: "Sequence[Any]",
    what: Path,
    number: int | None,
    options: "ReadOptions",
) -> "tuple[PullResult, LoadCurve, tuple[str, ...]]":
    """The pull that the clip is of, with its curve and words about the choice."""
    from breakyard.session.filming import another_pull, which_pull
    from breakyard.session.pulls import pulls_of
    from breakyard.session.reading import read_one, read_pulls

    words: tuple[str, ...] = ()
    if len(pulls) == 1:
        chosen, part = pulls[0], number
        session = chosen.session
        if session is not None and clip.created_utc_s is not None and what.is_file():
            results = read_pulls(pulls_of(session), options)
            mine = [
                one
                for one in results
                if one.pull.path == chosen.path and one.pull.part in (None, number or 1)
            ]
            warning = another_pull(clip, mine[0], results) if mine and mine[0].summary is not None else ""
            words = (warning,) if warning else ()
    else:
        with out.progress("reading pulls", len(pulls)) as step:
            results = read_pulls(pulls, options, step, processes=None)
        result, guess = which_pull(clip, results)
        out.say(f"{clip.path.name} is of {result.label}")
        words = (guess,) if guess else ()
        chosen, part = result.pull, result.pull.part
        chosen = next(pull for pull in pulls if pull.path == chosen.path)
    found = read_one(chosen, options)
    if part is None and len(found) > 1:
        raise UsageError(
            f"{chosen.path}: there are {len(found)} pulls in it; say which one with --pull NUMBER"
        )
    result, curve = chosen_of(found, part, chosen.path)
    if result.summary is None:
        raise DataError(result.problem)
    return result, curve, words


def _write_sheet(clip: "Clip", found: "Alignment", result: "PullResult") -> Path:
    """The contact sheet of what was found and of what else it may be."""
    from breakyard.disk.atomic import write_atomically
    from breakyard.video.alignment import NAMES
    from breakyard.video.panel import milliseconds
    from breakyard.video.sheet import Candidate, contact_sheet

    rows: dict[int, Candidate] = {}
    for clue, chosen in [*((clue, True) for clue in found.clues), *((clue, False) for clue in found.others)]:
        if clue.source in ("lamp", "onset"):
            continue
        heard = clue.source == "sound"
        shown = clue.time_s + clip.step_s if heard or clue.frame_s is None else clue.frame_s
        at = clip.frame_at(shown)
        words = f"by {NAMES[clue.source]}: {clue.time_s:.3f} s {milliseconds(2 * clue.standard_s)}"
        words += f" (heard at {clue.frame_s:.3f} s)" if heard else ""
        before = rows.get(at)
        if before is not None:
            words = f"{before.words}; {words}"
        taken = chosen or (before is not None and before.chosen)
        rows[at] = Candidate(float(clip.times_s[at]), words, taken)
    title = f"{result.label}, {clip.path.name}: the first frame that shows it broken, as --break-at SECONDS"
    data = contact_sheet(clip, list(rows.values())[:6], title)
    name = f"{result.pull.name.replace('#', '-')}.moments.png"
    if result.pull.session is not None:
        return result.pull.session.write_result(name, data)
    path = clip.path.with_name(name)
    write_atomically(path, data)
    return path


def _not_sure(
    out: Output,
    clip: "Clip",
    found: "Alignment",
    result: "PullResult",
    sheet: Path | None,
    words: Sequence[str],
) -> None:
    """Say what may be the break, and stop: the data does not tell. Raises: typer.Exit."""
    document = {
        "schema": "breakyard.video/1",
        "file": None,
        "sure": False,
        "sheet": None if sheet is None else str(sheet),
    }
    out.document(document | _found_document(clip, result, found, words))
    for sentence in words:
        out.say(f"! {sentence}")
    look = "" if sheet is None else f"Look at {sheet} and "
    out.say(f"Not sure which moment is the break. {look}say --break-at SECONDS.")
    raise typer.Exit(STATUS_NO)


def _found_document(
    clip: "Clip", result: "PullResult", found: "Alignment", words: Sequence[str]
) -> dict[str, Any]:
    assert result.summary is not None
    return {
        "clip": str(clip.path),
        "pull": result.pull.described(),
        "break_in_clip_s": found.clip_s,
        "break_in_run_s": found.run_s,
        "half_width_s": found.half_width_s,
        "load_doubt_n": found.load_doubt_n(result.summary.rate.median_n_per_s),
        "stretch": found.stretch,
        "clues": [
            {"source": clue.source, "time_s": clue.time_s, "standard_s": clue.standard_s, "taken": taken}
            for taken, group in ((True, found.clues), (False, found.others))
            for clue in group
        ],
        "budget": [{"source": term.source, "standard_s": term.standard_s} for term in found.terms],
        "words": list(words),
    }


def _write_one(out: Output, film: ClipAndPull, output: Path | None, style: "Style", subtitles: bool) -> None:
    from breakyard.disk.atomic import draft_of, write_atomically
    from breakyard.video.burn import burn, count_of, pace_for
    from breakyard.video.film import rate_for
    from breakyard.video.subtitles import as_text, cues, mux

    path = output or _default(film.result, film.clip.path, "film.mp4")
    kind = path.suffix.lower()
    if path.resolve() == film.clip.path.resolve():
        raise UsageError(f"{path}: this is the clip itself; name another file to write")
    if kind in TEXTS:
        text = as_text(cues(film.readout, film.alignment, film.clip), kind[1:])
        write_atomically(path, text.encode())
        _tell(out, film, path, None)
        return
    if kind not in FILMS:
        raise UsageError(f"{path}: a film's name ends in .mp4; subtitles end in .srt or .vtt")
    if subtitles:
        with draft_of(path) as draft:
            mux(film.clip, cues(film.readout, film.alignment, film.clip), draft)
        _tell(out, film, path, None)
        return
    pace = pace_for(film.clip, film.alignment, film.readout, style)
    total = count_of(pace, rate_for(film.clip.rate))
    with out.progress("frames", total) as step, draft_of(path) as draft:
        made = burn(film.clip, film.readout, film.alignment, style, draft, lambda number: step("", number))
    _tell(out, film, path, made)


def _default(result: "PullResult", clip: Path, ending: str) -> Path:
    name = f"{result.pull.name.replace('#', '-')}.{ending}"
    if result.pull.session is not None:
        return result.pull.session.layout.result_file(name)
    return clip.with_name(name)


def _tell(out: Output, film: ClipAndPull, path: Path, made: "Made | None") -> None:
    from breakyard.report.words.values import load_text
    from breakyard.video.panel import milliseconds

    found, unit = film.alignment, film.readout.unit
    doubt = found.load_doubt_n(film.rate_n_per_s)
    for sentence in film.words:
        out.say(f"! {sentence}")
    by = " and ".join(dict.fromkeys(clue.source for clue in found.clues)) or "the notes"
    out.say(
        f"In step within {milliseconds(found.half_width_s)} (by {by}): {load_text(doubt, unit)} {unit} at the rate of "
        "this pull."
    )
    if film.sheet is not None:
        out.say(f"the moments it was chosen from: {film.sheet}; another one: --break-at SECONDS")
    out.say(f"written: {path}")
    size = None
    if made is not None:
        size = {"width": made.width, "height": made.height, "rate": float(made.rate), "frames": made.frames}
    out.document(
        {
            "schema": "breakyard.video/1",
            "file": str(path),
            "sure": True,
            "kept": film.kept,
            "sheet": None if film.sheet is None else str(film.sheet),
            "film": size,
        }
        | _found_document(film.clip, film.result, found, film.words)
    )


def _without_clip(
    out: Output,
    what: Path,
    names: list[str],
    output: Path | None,
    number: int | None,
    options: "ReadOptions",
    unit: str | None,
    style: "Style",
    slower: float | None,
) -> None:
    from breakyard.disk.atomic import draft_of
    from breakyard.session.filming import readout_of
    from breakyard.session.finding import find_pulls, shown_unit
    from breakyard.session.reading import read_one
    from breakyard.video import bare

    if names:
        raise UsageError(f"{names[0]}: with --no-clip there is no clip; leave one of the two out")
    pulls = find_pulls([what])
    if len(pulls) != 1:
        raise UsageError(f"{what}: {len(pulls)} pulls; give the recording of one, as runs/NAME.run")
    found = read_one(pulls[0], options)
    result, curve = chosen_of(found, number, pulls[0].path)
    readout = readout_of(result, curve, shown_unit(unit, pulls))
    path = output or _default(result, pulls[0].path, "curve.mp4")
    if path.suffix.lower() not in (*FILMS, ".gif"):
        raise UsageError(f"{path}: an animated curve ends in .mp4 or .gif")
    pace = bare.pace_for(readout, style, slower)
    animation = bare.Animation(readout, style, pace, gif=path.suffix.lower() == ".gif")
    with out.progress("frames", animation.count) as step, draft_of(path) as draft:
        animation.write(draft, lambda many: step("", many))
    out.say(f"written: {path}")
    out.document(
        {
            "schema": "breakyard.video/1",
            "file": str(path),
            "clip": None,
            "pull": result.pull.described(),
            "film": {
                "width": animation.width,
                "height": animation.height,
                "rate": float(animation.rate),
                "frames": animation.count,
            },
        }
    )


def _side_by_side(
    out: Output,
    what: Path,
    names: list[str],
    output: Path | None,
    options: "ReadOptions",
    unit: str | None,
    style: "Style",
    said: ClipOptions,
    together: TogetherAt,
) -> None:
    from breakyard.disk.atomic import draft_of
    from breakyard.session.filming import kept_clips, path_of
    from breakyard.session.session import open_session
    from breakyard.video import beside

    if not 2 <= len(names) <= beside.MOST:
        raise UsageError(f"--side-by-side shows two to {beside.MOST} clips; {len(names)} were given")
    if said.break_at is not None or said.onset_at is not None:
        raise UsageError(
            "--break-at belongs to one clip: give it with that clip alone first, it is kept in the run's notes"
        )
    films = []
    for name in names:
        path = Path(name)
        if path.is_file():
            films.append(_find(out, what, path, None, options, unit, said))
            continue
        pull = open_session(what).pull(name)
        clips = kept_clips(pull)
        if not clips:
            raise UsageError(
                f"{name}: no such clip, and no clip is kept for a specimen of that name; "
                f"give its clip first: breakyard video {pull.path} CLIP"
            )
        films.append(_find(out, pull.path, path_of(pull, clips[-1]), pull.part, options, unit, said))
    path = output or _default(films[0].result, films[0].clip.path, "side-by-side.mp4")
    if path.suffix.lower() not in FILMS:
        raise UsageError(f"{path}: a film's name ends in .mp4")
    tiles = [beside.Tile(film.clip, film.readout, film.alignment) for film in films]
    several = beside.SideBySide(tiles, style, at_onset=together is TogetherAt.ONSET)
    with out.progress("frames", several.count) as step, draft_of(path) as draft:
        made = several.write(draft, lambda number: step("", number))
    for film in films:
        for sentence in film.words:
            out.say(f"! {film.readout.specimen}: {sentence}")
    out.say(f"written: {path}")
    out.document(
        {
            "schema": "breakyard.video/1",
            "file": str(path),
            "sure": True,
            "film": {
                "width": made.width,
                "height": made.height,
                "rate": float(made.rate),
                "frames": made.frames,
            },
            "pulls": [_found_document(film.clip, film.result, film.alignment, film.words) for film in films],
        }
    )
