"""Clips of a session's pulls: which pull one is of, what ties the two together, and the still for the report.

What was found is kept in the run's notes, under "clips":

    [[clips]]
    file = "../films/B1.mp4"      # from the notes' own folder
    pull = 2                      # of a recording of several
    clip_s = 12.345               # this moment of the clip, in seconds from its first frame,
    run_s = 31.207                # is this moment of the recording
    standard_s = 0.011            # standard uncertainty of that
    stretch = 1.0                 # seconds of the clip in one second of the world
    by = "picture, sound"
"""

import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from breakyard.curve import LoadCurve
from breakyard.document import sha256_of
from breakyard.errors import BreakyardError, DataError, UsageError
from breakyard.pull.results import Summary
from breakyard.report.page.content import Still
from breakyard.session.pulls import Pull
from breakyard.session.reading import PullResult
from breakyard.version import VERSION

if TYPE_CHECKING:
    from breakyard.session.files.notes import RunNotes
    from breakyard.video.alignment import Alignment
    from breakyard.video.clip import Clip
    from breakyard.video.find import KnownBreak
    from breakyard.video.readout import ReadOut

CLIPS: Final = "clips"
"""Key in a run's notes."""
_KEYS: Final = {
    "file": str,
    "clip_s": float,
    "run_s": float,
    "standard_s": float,
    "stretch": float,
    "by": str,
}

BESIDE_S: Final = 5.0
"""What phone and logger may disagree by, besides what the logger knows of its own clock."""
ZONES_H: Final = (
    *(float(hours) for hours in range(-12, 15) if hours),
    *(-9.5, -3.5, 3.5, 4.5, 5.5, 6.5, 9.5, 10.5),
    *(5.75, 8.75, 12.75),
)
"""Differences of the world's clocks from UTC (IANA time zone database): a camera that writes local time as if it were
UTC is off by one of them."""
STILL_WIDTH: Final = 960
LET_GO_DOUBT_S: Final = 0.25
"""Half-width of the moment at which an unbroken specimen was let go, which nobody can see exactly."""


@dataclass(frozen=True, slots=True)
class KeptClip:
    """A clip in a run's notes."""

    file: str
    clip_s: float
    run_s: float
    standard_s: float
    stretch: float
    by: str
    part: int | None = None

    def alignment(self) -> "Alignment":
        """What was found then."""
        from breakyard.video.alignment import Alignment, TimeTerm

        term = TimeTerm(f"as kept in the notes ({self.by})", self.standard_s)
        return Alignment(self.clip_s, self.run_s, self.standard_s, self.stretch, (), (term,))


def kept_clips(pull: Pull) -> tuple[KeptClip, ...]:
    """The clips that a pull's notes name. Raises: DataError if they are no clips."""
    if not _has_notes(pull):
        return ()
    assert pull.session is not None
    notes = f"{pull.path.stem}.toml"
    rows = pull.session.notes(pull.path.stem).more.get(CLIPS, ())
    if not isinstance(rows, list | tuple):
        raise DataError(f'{notes}: "{CLIPS}" must be a list of tables ([[{CLIPS}]])')
    found = [_clip_of(row, notes) for row in rows]
    return tuple(clip for clip in found if clip.part in (None, pull.part))


def _clip_of(row: object, notes: str) -> KeptClip:
    if not isinstance(row, dict):
        raise DataError(f'{notes}: "{CLIPS}" must be a list of tables ([[{CLIPS}]])')
    values: dict[str, Any] = {"stretch": 1.0, "by": "hand", "standard_s": 0.05} | row
    for key, kind in _KEYS.items():
        value = values.get(key)
        wanted = (str,) if kind is str else (int, float)
        if not isinstance(value, wanted) or isinstance(value, bool):
            raise DataError(
                f'{notes}: [[{CLIPS}]] needs "{key}" as {"a text" if kind is str else "a number"}, not {value!r}'
            )
    part = values.get("pull")
    if part is not None and (not isinstance(part, int) or part < 1):
        raise DataError(f'{notes}: [[{CLIPS}]]: "pull" must be a number from 1, not {part!r}')
    if not values["stretch"] > 0 or not values["standard_s"] > 0:
        raise DataError(f'{notes}: [[{CLIPS}]]: "stretch" and "standard_s" must be above 0')
    return KeptClip(**{key: kind(values[key]) for key, kind in _KEYS.items()}, part=part)


def keep_clip(pull: Pull, clip: Path, alignment: "Alignment") -> bool:
    """Keep a clip in a pull's notes, in place of an earlier entry; False outside of sessions. Raises: DataError."""
    if not _has_notes(pull):
        return False
    assert pull.session is not None
    name = pull.path.stem
    file = _written(clip, pull)
    row: dict[str, Any] = {"file": file}
    if pull.part is not None:
        row["pull"] = pull.part
    row |= {
        "clip_s": round(alignment.clip_s, 4),
        "run_s": round(alignment.run_s, 4),
        "standard_s": round(alignment.standard_s, 4),
        "stretch": alignment.stretch,
        "by": ", ".join(clue.source for clue in alignment.clues),
    }

    def added(notes: "RunNotes") -> "RunNotes":
        others = [
            other
            for other in notes.more.get(CLIPS, ())
            if other.get("file") != file or other.get("pull") != row.get("pull")
        ]
        return replace(notes, more={**notes.more, CLIPS: [*others, row]})

    pull.session.change_notes(name, added)
    return True


def kept_of(pull: Pull, clip: Path) -> KeptClip | None:
    """What is kept of a clip, if its pull's notes name it. Raises: DataError."""
    return next((one for one in kept_clips(pull) if path_of(pull, one).resolve() == clip.resolve()), None)


def path_of(pull: Pull, kept: KeptClip) -> Path:
    """Where a kept clip lies."""
    return pull.path.parent / Path(kept.file)


def _has_notes(pull: Pull) -> bool:
    return pull.session is not None and pull.path.parent.resolve() == pull.session.layout.runs.resolve()


def _written(clip: Path, pull: Pull) -> str:
    """The clip's path from the notes' folder, so that a session may be moved with its films; else as it is."""
    try:
        return Path(os.path.relpath(clip.resolve(), pull.path.parent.resolve())).as_posix()
    except ValueError:  # another drive
        return clip.resolve().as_posix()


def which_pull(clip: "Clip", results: Sequence[PullResult]) -> tuple[PullResult, str]:
    """The pull that a clip is of, by when it was filmed; and a word where that needed a guess.

    Phones write the time of a clip's beginning or of its end; both are allowed for.
    Raises: UsageError where that does not tell.
    """
    good = [result for result in results if result.summary is not None]
    for result in good:
        if kept_of(result.pull, clip.path) is not None:
            return result, ""
    if len(good) == 1:
        return good[0], ""
    if not good:
        raise UsageError("no pull of the session could be read: name the run instead of the session")
    timed = [(result, utc) for result in good if (utc := _broke_utc(result.summary)) is not None]
    names = ", ".join(result.pull.name for result in good)
    way_out = f"name the run of this clip instead of the session (runs/NAME.run); there is {names}"
    if clip.created_utc_s is None:
        raise UsageError(f"{clip.path}: it does not say when it was filmed: {way_out}")
    if not timed:
        raise UsageError(f"the logger's clock was not set, so nothing tells which pull this is: {way_out}")
    fitting = [result for result, utc in timed if _fits(clip, utc, result.summary, 0.0)]
    if len(fitting) == 1:
        return fitting[0], ""
    if len(fitting) > 1:
        several = ", ".join(result.pull.name for result in fitting)
        raise UsageError(
            f"{clip.path}: {len(fitting)} pulls were made while it was filmed ({several}): {way_out}"
        )
    shifted = [
        (result, hours)
        for result, utc in timed
        for hours in ZONES_H
        if _fits(clip, utc, result.summary, 3600.0 * hours)
    ]
    if len(shifted) == 1:
        result, hours = shifted[0]
        return result, (
            f"the clip's time fits {result.pull.name} if its clock is {hours:+g} h off, as cameras are that write "
            "local time; if it is another pull, name its run"
        )
    nearest, utc = min(timed, key=lambda pair: abs(pair[1] - (clip.created_utc_s or 0.0)))
    apart = abs(utc - clip.created_utc_s)
    raise UsageError(
        f"{clip.path}: no pull was made while it was filmed; the nearest, {nearest.pull.name}, is {_long(apart)} "
        f"away: {way_out}"
    )


def another_pull(clip: "Clip", chosen: PullResult, results: Sequence[PullResult]) -> str:
    """A warning where a clip's time says that it is of another pull than the chosen one; else nothing."""
    utc = _broke_utc(chosen.summary)
    if clip.created_utc_s is None or utc is None or _fits(clip, utc, chosen.summary, 0.0, slack_s=60.0):
        return ""
    try:
        other, guessed = which_pull(clip, [one for one in results if one.pull.name != chosen.pull.name])
    except UsageError:
        return ""
    if guessed or _broke_utc(other.summary) is None:
        return ""
    return f"by its time the clip is of {other.pull.name}, not of {chosen.pull.name}; is the right run named?"


def _broke_utc(summary: Summary | None) -> float | None:
    if summary is None or summary.run.start_utc_s is None:
        return None
    moment = summary.failure.time_s if summary.failure.time_s is not None else summary.peak.time_s
    return summary.run.start_utc_s + moment


def _fits(
    clip: "Clip", utc_s: float, summary: Summary | None, shift_s: float, slack_s: float = BESIDE_S
) -> bool:
    assert clip.created_utc_s is not None
    assert summary is not None
    slack = slack_s + (summary.run.start_utc_uncertainty_s or 0.0)
    length = clip.duration_s / clip.stretch
    since = utc_s - (clip.created_utc_s - shift_s)
    return -length - slack <= since <= length + slack


def _long(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"


def known_of(pull: Pull, curve: LoadCurve, summary: Summary) -> "KnownBreak":
    """What a run knows that a clip may show: break, onset, the logger's lamp."""
    from breakyard.video.alignment import TiePoint
    from breakyard.video.find import KnownBreak
    from breakyard.video.readout import late_by, let_go_s

    zeroed = curve.load_n - summary.zero.load_n
    usable = curve.usable | curve.clipped
    time, load = curve.time_s[usable] - late_by(curve, summary), zeroed[usable]
    broke = summary.failure.time_s is not None
    over_s = let_go_s(summary, time, load)
    half = LET_GO_DOUBT_S
    if broke and summary.failure.load_n is not None:
        # The samples between which it fell; through a converter's filter each fall takes about three of them.
        before = time[(time <= over_s) & (load > 0.8 * summary.failure.load_n)]
        after = time[(time >= over_s) & (load < 0.3 * summary.failure.load_n)]
        fell = float(after[0] - before[-1]) if len(before) and len(after) else curve.period_s
        own = (3.0 if curve.filter_known else 0.0) * curve.period_s
        half = 0.5 * max(fell - own, curve.period_s)
    word = "break" if broke else "moment at which it was let go"
    return KnownBreak(
        over=TiePoint(over_s, half / 3.0**0.5, word),
        broke=broke,
        onset_s=summary.onset_s,
        lamp_s=_lamp_s(pull),
    )


def _lamp_s(pull: Pull) -> float | None:
    """When the logger lit its lamp for the video, in the run's time."""
    from breakyard.session.recordings import load_run
    from breakyard.wire.layout import MarkCode

    if pull.path.suffix.lower() != ".run":
        return None
    run = load_run(pull.path)
    if run.begin is None:
        return None
    first_us = run.begin.first_s * 1_000_000 + run.begin.first_us
    for mark in run.marks:
        if mark.code == MarkCode.VIDEO:
            return (mark.mark_s * 1_000_000 + mark.mark_us - first_us) / 1e6
    return None


def readout_of(result: PullResult, curve: LoadCurve, unit: str) -> "ReadOut":
    """A pull with its names, ready to be read out. Raises: UnitError, DataError (it could not be read)."""
    from breakyard.video.readout import make_readout

    if result.summary is None:
        raise DataError(result.problem)
    session = result.pull.session
    date = "" if session is None or session.info.date is None else session.info.date.isoformat()
    return make_readout(
        curve, result.summary, unit=unit, specimen=result.label, group=result.pull.group, date=date
    )


def still_of(result: PullResult, curve: LoadCurve, unit: str) -> Still | None:
    """The still for the report; None for pulls without a clip. It is kept in the results until anything changes."""
    try:
        clips = kept_clips(result.pull)
    except BreakyardError as error:
        return Still(result.pull.name, problem=str(error))
    if not clips or result.summary is None:
        return None
    kept = clips[-1]
    path = path_of(result.pull, kept)
    name = Path(kept.file).name
    if not path.is_file():
        return Still(name, problem=f"{name} is not where the notes say")
    session = result.pull.session
    assert session is not None
    known = f"{VERSION} {kept} {path.stat().st_size} {path.stat().st_mtime_ns} {unit} {result.summary.peak}"
    place = session.layout.result_file(f"{result.pull.name.replace('#', '-')}.still.jpg")
    mark = sha256_of(f"{known} {result.pull.described()}".encode()).encode()
    if place.is_file() and (found := place.read_bytes()).endswith(mark):
        return Still(name, kept.clip_s, found)
    try:
        jpeg = _made_still(result, curve, unit, path, kept)
    except BreakyardError as error:
        return Still(name, problem=str(error))
    # What follows a JPEG's end is read by nobody: there it says what it was made from.
    with suppress(DataError):  # the page shows it all the same
        session.write_result(place.name, jpeg + mark)
    return Still(name, kept.clip_s, jpeg + mark)


def _made_still(result: PullResult, curve: LoadCurve, unit: str, path: Path, kept: KeptClip) -> bytes:
    import io

    from breakyard.video.burn import Style, picture_at
    from breakyard.video.clip import read_clip
    from breakyard.video.planes import picture_of

    readout, alignment, clip = readout_of(result, curve, unit), kept.alignment(), read_clip(path)
    # The first frame that can show it broken.
    wanted = alignment.clip_time(readout.over_s)
    later = clip.times_s[clip.times_s >= wanted]
    at = float(later[0]) if len(later) else float(clip.times_s[-1])
    picture = picture_of(picture_at(clip, readout, alignment, Style(), at))
    picture.thumbnail((STILL_WIDTH, STILL_WIDTH))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=82)
    return out.getvalue()
