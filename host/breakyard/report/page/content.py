"""What a report tells, gathered: one frozen value, so that the page knows no files and two runs give the same bytes."""

from dataclasses import dataclass

from breakyard.calibration import Calibration
from breakyard.comparison import Comparison
from breakyard.curve import LoadCurve
from breakyard.plan.rig import RigCheck
from breakyard.pull.results import Summary
from breakyard.report.words.wording import is_doubtful


@dataclass(frozen=True, slots=True)
class Still:
    """The moment of a pull's break, from its clip, with the load on it; or why it cannot be shown."""

    file: str
    clip_s: float = 0.0
    jpeg: bytes = b""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture that the notes name: its JPEG, made small, or why there is none."""

    name: str
    jpeg: bytes = b""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One pull. `label` is how people call the specimen; `order` its place in the day; `notes` what they wrote."""

    name: str
    label: str
    curve: LoadCurve
    summary: Summary
    group: str = ""
    order: int | None = None
    notes: str = ""
    own: tuple[tuple[str, str], ...] = ()
    """People's own columns of the table of specimens."""
    photos: tuple[Photo, ...] = ()
    still: Still | None = None
    """None where no clip is kept of it."""

    @property
    def doubtful(self) -> bool:
        """Whether its number must not stand beside the others as an ordinary one."""
        return is_doubtful(self.summary)


@dataclass(frozen=True, slots=True)
class FileHash:
    """A file that the report was made from; `path` is inside the session."""

    path: str
    size: int
    sha256: str


@dataclass(frozen=True, slots=True)
class SessionRig:
    """What is known of one session's rig: its check, or why there is none, or what people wrote of it."""

    session: str
    check: RigCheck | None
    problem: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class Content:
    """Everything a report says. Texts are as people wrote them, not escaped."""

    title: str
    entries: tuple[Entry, ...]
    unit: str = "N"
    coverage: float = 0.95
    place: str = ""
    date: str = ""
    latitude_deg: float | None = None
    height_m: float | None = None
    logger: str = ""
    notes: str = ""
    unread: tuple[tuple[str, str], ...] = ()
    """Recordings that could not be read, and why."""
    comparison: Comparison | None = None
    comparison_problem: str = ""
    calibrations: tuple[Calibration, ...] = ()
    rig: RigCheck | None = None
    rig_words: str = ""
    """What people wrote where they did not describe the rig as a table."""
    rig_problem: str = ""
    other_rigs: tuple[SessionRig, ...] = ()
    """Those of further sessions, where the report is about several."""
    files: tuple[FileHash, ...] = ()
    settings: tuple[tuple[str, str], ...] = ()
    versions: tuple[tuple[str, str], ...] = ()
    commands: tuple[str, ...] = ()
    """Command lines that make everything here again from the session's folder."""

    @property
    def groups(self) -> tuple[str, ...]:
        """Names of groups in the order in which they first appear; "" where a pull has none."""
        return tuple(dict.fromkeys(entry.group for entry in self.entries))

    @property
    def doubtful(self) -> tuple[Entry, ...]:
        """Pulls whose numbers are doubtful or bounds."""
        return tuple(entry for entry in self.entries if entry.doubtful)

    def of_group(self, group: str) -> tuple[Entry, ...]:
        """The pulls of one group."""
        return tuple(entry for entry in self.entries if entry.group == group)
