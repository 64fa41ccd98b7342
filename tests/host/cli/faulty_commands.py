"""Every command that writes, on a disk that fails at each of its operations; and what must hold afterwards.

After a fault each file is the old one or the new one, whole; what is left over is named as such and nothing reads it.
A command that was not killed ends in one line and never with a traceback. The same command again, on a sound disk,
ends as if nothing had happened, and nothing is left over.
"""

import asyncio
import contextlib
import io
import json
import os
import re
import sys
import tempfile
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

import numpy as np
from clip_maker import Scene, make_clip
from faulty_disk import Disk, Fault, Tree, lay_out, tree_of
from PIL import Image
from step_cuts import cuts_of

from breakyard.cli.app import main
from breakyard.device import fetching
from breakyard.device.client.client import Client
from breakyard.device.link.base import Link
from breakyard.disk.atomic import DRAFT
from breakyard.run import read_run
from breakyard.session.files.layout import PART
from breakyard.session.session import open_session
from breakyard.simulate.logger import VirtualLogger

YARD, ARCHIVE, IN, PUBLISHED = "yard", "archive", "in", "published"

CASES: dict[str, tuple[str, ...]] = {
    "import": ("import", f"{IN}/B1.csv", "--session", YARD, "--accuracy", "1", "--specimen", "A3"),
    "import new": ("import", f"{IN}/B1.csv", f"{IN}/B2.csv", "--session", "fresh", "--accuracy", "1"),
    "import archive": ("import", ARCHIVE, "--session", "back"),
    "calibrate": (
        "calibrate",
        f"{YARD}/runs/autumn.csv",
        "--masses",
        "0, 20 kg, 40 kg, 20 kg, 0",
        "--name",
        "autumn",
    ),
    "check": (
        *("check", f"{YARD}/runs/check.csv", "--mass", "20 kg", "--calibration", "spring"),
        *("--history", f"{YARD}/checks/unknown.csv"),
    ),
    "summarize": ("summarize", YARD),
    "compare": ("compare", YARD, "--picture", "groups.svg"),
    "plot": ("plot", f"{YARD}/runs/A1.csv"),
    "report": ("report", YARD, "--output", "page.html", "--markdown"),
    "export": ("export", YARD, "--to", "curves"),
    "archive": ("export", YARD, "--archive", "--to", ARCHIVE),
    "publish": ("export", YARD, "--tidy", "--to", PUBLISHED),
    "new": ("new", "fresh", "--unit", "N", "--groups", "a, b"),
    "step": ("step", f"{IN}/cuts.csv", "--logger", "yard", "--picture", "step.svg"),
    "check hold": ("check", f"{IN}/hold.csv", "--hold"),
    "weigh": ("weigh", f"{YARD}/runs/autumn.csv", "--for", "5 s"),
    "photo": ("photo", "A1", f"{IN}/photo.jpg", "--session", YARD),
    "attach": ("attach", "A1", f"{IN}/lengths.csv", "--session", YARD),
    "sheet": ("sheet", "A1", "--session", YARD),
    "field site": ("field", "--site", "site"),
    "rig": ("rig", YARD, "--stop", "3 kN"),
    "design": ("design", YARD, "--per-group", "2"),
}

LOGGER_CASES: dict[str, tuple[str, ...]] = {
    "fetch": ("logger", "fetch", "--link", "usb", "--into", YARD),
    "record": ("record", YARD, "--link", "virtual", "--now", "--seconds", "1", "--specimen", "A3"),
    "video": ("video", f"{YARD}/runs/A1.csv", f"{IN}/A1.mp4", "-o", "film.mp4"),
    "demo": ("demo", "--folder", "demo-session"),
}
"""With a logger, or a film: seconds for each fault, so that CI has two of each, and of the demo none."""

DERIVED = re.compile(rf"results/|\.svg$|\.html$|\.md$|^curves/|^{PUBLISHED}/")
"""What is computed from other files; its bytes may name the time it was made."""


@dataclass(frozen=True)
class Left:
    """What a command left behind."""

    status: int
    out: str
    err: str


def run(root: Path, words: tuple[str, ...], disk: Disk) -> Left:
    """Give a command in the folder, on the disk."""
    out, err = io.StringIO(), io.StringIO()
    status: object = 0
    before = Path.cwd()
    os.chdir(root)
    try:
        with (
            mock.patch.object(sys, "argv", ["breakyard", *words]),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            disk.running(),
        ):
            try:
                main()
            except SystemExit as stopped:
                status = stopped.code or 0
    finally:
        os.chdir(before)
    assert isinstance(status, int)
    return Left(status, out.getvalue(), err.getvalue())


def pull_text(peak_n: float, seed: int) -> str:
    """A pull to a break, as another instrument writes it."""
    time = np.arange(0.0, 12.0, 0.0125)
    load = np.clip((time - 3.0) * 400.0, 0.0, None)
    load[load > peak_n] = 0.0
    load += np.random.default_rng(seed).normal(0.0, 0.5, time.size)
    rows = (f"{t:.4f},{f:.3f}" for t, f in zip(time, load, strict=True))
    return "Time [s],Load [N]\n" + "\n".join(rows) + "\n"


def steps_text(steps: tuple[float, ...], seed: int) -> str:
    """Masses hung one after another, as counts: 1000 for each kilogram."""
    rng = np.random.default_rng(seed)
    counts = np.concatenate([np.full(900, 5000.0 + 1000.0 * kg) for kg in steps])
    counts = (counts + rng.normal(0.0, 20.0, counts.size)).round().astype(int)
    rows = (f"{0.0125 * i:.4f},{count}" for i, count in enumerate(counts))
    return "Time [s],Counts\n" + "\n".join(rows) + "\n"


def hold_text() -> str:
    """A mass that hangs for half an hour on a cell that creeps, as counts."""
    time = np.arange(0.0, 1900.0, 0.5)
    on = (time > 40.0) & (time < 1860.0)
    counts = 5000.0 + on * (20_000.0 + 10.0 * np.log1p(np.clip(time - 40.0, 0.0, None)))
    counts = (counts + np.random.default_rng(7).normal(0.0, 2.0, time.size)).round().astype(int)
    return "Time [s],Counts\n" + "\n".join(f"{t:.1f},{c}" for t, c in zip(time, counts, strict=True)) + "\n"


RIG = """
[rig]
specimen = "cleat"
expected = "2..3 kN"
loading = "hand winch"

[[rig.element]]
name = "pull line"
kind = "rope"
breaking = "60 kN"

[[rig.line]]
name = "line"
material = "polyester"
length_m = 6
breaking = "60 kN"
"""


def make_base(root: Path) -> Tree:
    """A session with two pulls, a calibration and recordings for more; an archive of it as it was before."""
    (root / IN).mkdir(parents=True)
    for number, (name, peak_n) in enumerate((("A1", 2500.0), ("A2", 2700.0), ("B1", 2600.0), ("B2", 2400.0))):
        (root / IN / f"{name}.csv").write_text(pull_text(peak_n, number))
    for name, steps in (
        ("spring", (0, 20, 40, 20, 0)),
        ("autumn", (0, 20, 40, 20, 0)),
        ("check", (0, 20, 0)),
    ):
        (root / IN / f"{name}.csv").write_text(steps_text(steps, len(name)))
    (root / IN / "hold.csv").write_text(hold_text())
    (root / IN / "lengths.csv").write_text("time_s,length_mm\n2,1000\n6,1010\n9,1018\n")
    Image.new("RGB", (40, 30), "red").save(root / IN / "photo.jpg")
    cuts = cuts_of(2, 4)
    rows = (f"{t:.6f},{count}" for t, count in zip(cuts.time_s, cuts.counts, strict=True))
    (root / IN / "cuts.csv").write_text("Time [s],Counts\n" + "\n".join(rows) + "\n")

    def give(*words: str) -> None:
        left = run(root, words, Disk(root))
        assert left.status == 0, (words, left.err)

    give("import", f"{IN}/A1.csv", f"{IN}/A2.csv", "--session", YARD, "--accuracy", "1")
    session = root / YARD
    (session / "specimens.csv").write_text("id,group,order,mass_kg,notes\nA1,a,,,\nA2,b,,,\nA3,a,,,\n")
    info = (session / "session.toml").read_text().replace('rig = ""\n', "")
    (session / "session.toml").write_text(info + RIG)
    for name in ("spring", "autumn", "check"):
        give("import", f"{IN}/{name}.csv", "--session", YARD, "--calibration", "--load-unit", "counts")
    give("calibrate", f"{YARD}/runs/spring.csv", "--masses", "0, 20 kg, 40 kg, 20 kg, 0", "--name", "spring")
    (session / "runs" / "autumn.toml").write_text(
        (session / "runs" / "autumn.toml").read_text().replace('purpose = "calibration"\n', "")
    )
    # Names the calibration, so that another beside it changes nothing.
    text = (session / "session.toml").read_text()
    (session / "session.toml").write_text('calibration = "spring"\n' + text)
    give("export", YARD, "--archive", "--to", ARCHIVE)
    give("export", YARD, "--tidy", "--to", PUBLISHED)
    for path in (session / "results").iterdir():
        path.unlink()
    notes = session / "runs" / "A1.toml"
    notes.write_text(notes.read_text().replace('notes = ""', 'notes = "wet"  # added since'))
    return tree_of(root)


def same(name: str, one: bytes | None, other: bytes | None) -> bool:
    """Whether two contents are one, but for the time at which they were made."""
    if one == other:
        return True
    if one is None or other is None:
        return False
    if name.endswith(".json"):
        try:
            found = [json.loads(content) for content in (one, other)]
        except ValueError:
            return False
        return bool(_timeless(found[0]) == _timeless(found[1]))
    if "/checks/" in name:
        rows = [[row.split(",", 1)[1:] for row in content.decode().splitlines()] for content in (one, other)]
        return rows[0] == rows[1]
    return bool(DERIVED.search(name)) and abs(len(one) - len(other)) < 100


def _timeless(document: dict[str, object]) -> dict[str, object]:
    return {
        name: _timeless(value) if isinstance(value, dict) else value
        for name, value in document.items()
        if name not in ("created", "hash", "made_from", "when_utc")
    }


def left_over(name: str) -> bool:
    """Whether a name says that nothing reads it."""
    return any(part.startswith((DRAFT, ".ready-")) for part in Path(name).parts)


def done_before(words: tuple[str, ...], again: Left) -> bool:
    """A session is made once: the fault came after it was there."""
    return words[0] == "new" and "this is a session already" in again.err


@dataclass
class Sweep:
    """One command on the base; `check` goes through one fault and returns what was wrong, in words."""

    root: Path
    base: Tree
    words: tuple[str, ...]

    def __post_init__(self) -> None:
        lay_out(self.root, self.base)
        disk = Disk(self.root)
        self.clean = run(self.root, self.words, disk)
        self.operations = disk.operations
        self.after = tree_of(self.root)

    def check(self, fault: Fault, at: int, *, links: bool = True) -> list[str]:
        """Let it fail there, look, give the command again, look again."""
        lay_out(self.root, self.base)
        disk = Disk(self.root, fault, at, links)
        try:
            left = run(self.root, self.words, disk)
        except Exception as error:
            return [f"{type(error).__name__}: {error}"]
        wrong = list(self._wholes(tree_of(self.root)))
        if not disk.dead:
            # Without hard links there are fewer operations, and it may never have come.
            wrong += self._told(left, fault if at < len(disk.operations) else None)
        again = run(self.root, self.words, Disk(self.root, links=links))
        if again.status != self.clean.status and not done_before(self.words, again):
            wrong.append(f"again: status {again.status}: {again.err.strip()[-300:]}")
        wrong += [f"again: {one}" for one in self._is_clean(tree_of(self.root))]
        return wrong

    def _wholes(self, tree: Tree) -> Iterator[str]:
        for name, content in self.base.items():
            if content is not None and tree.get(name) is None and self.after.get(name) is not None:
                yield f"{name} is lost"
        for name, content in tree.items():
            if left_over(name) or name.endswith(PART) or content is None:
                continue
            if not any(same(name, content, known.get(name)) for known in (self.base, self.after)):
                yield f"{name} is neither the old nor the new one: {content[:40]!r}"

    def _told(self, left: Left, fault: Fault | None) -> Iterator[str]:
        if "Traceback" in left.err + left.out:
            yield f"traceback: {left.err[-300:]}"
        lines = [line for line in left.err.splitlines() if line.startswith("breakyard: ")]
        if left.status == 2 and not lines:
            yield f"status 2 without a word: {left.err[-300:]}"
        if (left.status == 130) != (fault is Fault.CTRL_C) or left.status not in (0, 1, 2, 130):
            yield f"status {left.status} after {fault}"

    def _is_clean(self, tree: Tree) -> Iterator[str]:
        for name in sorted(set(tree) | set(self.after)):
            if name not in tree:
                yield f"{name} is missing"
            elif name not in self.after:
                yield f"{name} is left over"
            elif not same(name, tree[name], self.after[name]):
                yield f"{name} differs"


class Recorded(Sweep):
    """`record`: the virtual logger forgets with its command, so the same words again are another run."""

    def check(self, fault: Fault, at: int, *, links: bool = True) -> list[str]:
        """Let it fail there; what is a run is whole, what is none says so, and neither forgets its specimen."""
        lay_out(self.root, self.base)
        disk = Disk(self.root, fault, at, links)
        left = run(self.root, self.words, disk)
        wrong = [] if disk.dead else list(self._told(left, fault if at < len(disk.operations) else None))
        wrong += self._runs()
        again = run(self.root, self.words, Disk(self.root, links=links))
        if again.status:
            wrong.append(f"again: status {again.status}: {again.err.strip()[-300:]}")
        wrong += [f"again: {one}" for one in self._runs()]
        wrong += [f"again: {name} is left over" for name in tree_of(self.root) if left_over(name)]
        return wrong

    def _runs(self) -> Iterator[str]:
        tree = tree_of(self.root)
        for name, content in self.base.items():
            if tree.get(name, b"gone") != content:
                yield f"{name} is not what it was"
        session = open_session(self.root / YARD)
        for path in [*session.layout.runs.glob("*.run"), *session.unfinished()]:
            if path.suffix == ".run" and not read_run(path.read_bytes()).loss.complete:
                yield f"{path.name} is not whole"
            if session.notes(path.stem).specimen != "A3":
                yield f"{path.name} has forgotten its specimen"


@contextlib.contextmanager
def _logger_with_runs() -> Iterator[None]:
    """Within, `usb` leads to a logger whose store holds two short runs, whenever it is asked."""
    with tempfile.TemporaryDirectory() as flash:

        async def record() -> None:
            async with VirtualLogger(None, ("--runs", flash)) as logger, Client(logger.link()) as client:
                for _ in range(2):
                    await client.start()
                    await logger.run(4)
                    await client.stop()
                    await logger.run(2)

        @contextlib.asynccontextmanager
        async def make_link(way: str) -> AsyncIterator[Link]:
            async with VirtualLogger(None, ("--runs", flash)) as logger:
                yield logger.link()

        asyncio.run(record())
        with mock.patch.object(fetching, "make_link", make_link):
            yield


def _filmed(root: Path, base: Tree) -> Tree:
    """The base with a film of its first pull, which breaks 1.9 s after the film began."""
    lay_out(root, base)
    scene = Scene(break_s=1.9, length_s=2.6, width=320, height=180, shake_px=0, bang_late_s=0.02)
    make_clip(root / IN / "A1.mp4", scene)
    return tree_of(root)


def sweep(
    root: Path, base: Tree, name: str, chosen: Callable[[int, Fault], bool] = lambda at, fault: True
) -> tuple[int, int, list[str]]:
    """Go through a command's operations and faults; how many operations it has, how many faults, and what was wrong."""
    with _logger_with_runs() if name == "fetch" else contextlib.nullcontext():
        if name == "video":
            base = _filmed(root, base)
        words = (CASES | LOGGER_CASES)[name]
        return _swept((Recorded if name == "record" else Sweep)(root, base, words), name, chosen)


def _swept(one: Sweep, name: str, chosen: Callable[[int, Fault], bool]) -> tuple[int, int, list[str]]:
    assert one.clean.status in (0, 1), one.clean.err
    number, wrong = 0, []
    for at in range(len(one.operations)):
        for fault in Fault:
            if chosen(at, fault):
                number += 1
                where = f"{name}: {fault.name} at {at} of {len(one.operations)} ({one.operations[at]})"
                wrong += [f"{where}: {what}" for what in one.check(fault, at, links=bool(number % 3))]
    return len(one.operations), number, wrong
