#!/usr/bin/env python3
"""One verb, one command: sets up what it needs in .venv beside this file, then does the work.

    python3 tasks.py demo     a session of the boatyard, from counts to a table with intervals
    python3 tasks.py test     every test that a machine without boards and radios can run
    python3 tasks.py lint     style, types (host and firmware), import rule
    python3 tasks.py docs     the protocol's tables and vectors, and the commands shown in the README
    python3 tasks.py manual   a page for every public name, from the docstrings, into manual/
    python3 tasks.py wheel    builds the wheel, installs it elsewhere and runs its demo
    python3 tasks.py systems  types, wheels, and no MicroPython: Windows, Mac and Raspberry Pi, as far as Linux can tell
    python3 tasks.py floors   a part of the tests with the lowest versions of every library that is asked for
    python3 tasks.py bench    speed, memory and coverage, as ratios and shares
    python3 tasks.py chip     the whole firmware on an emulated RP2040, under the image that BREAKYARD_RP2_IMAGE names
    python3 tasks.py fuzz     hostile inputs to everything that eats foreign bytes (--inputs 10000000)

Needs Python 3.11 or later with the venv module (Debian: python3-venv) and, the first time, a network.
Words after the verb go to the tool it runs: python3 tasks.py test tests/host -k units
"""

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
STUBS = ROOT / ".stubs"
PORTS = {
    "rp2": ("micropython-rp2-stubs~=1.28.0", ("--exclude", r"boards/esp32|hx711_esp32")),
    "esp32": ("micropython-esp32-stubs~=1.28.0", ("--exclude", r"boards/(virtual|pico)|hx711_(pio|rp2)")),
}
"""Board families: the published types of each, and the files that are for the other one."""
SYSTEMS = (
    "x86_64-pc-windows-msvc",
    "aarch64-pc-windows-msvc",
    "aarch64-apple-darwin",
    "x86_64-apple-darwin",
    "aarch64-unknown-linux-gnu",
)
PYTHONS = ("3.11", "3.14")
SENSITIVE = (
    "tests/host/test_run.py",
    "tests/host/report/test_figures.py",
    "tests/host/report/test_strip.py",
    "tests/host/plan/test_specimens.py",
    "tests/host/formats/test_parquet.py",
    "tests/host/cli/test_plan_commands.py",
)
"""Tests that failed with versions that are too low: typer's help, matplotlib's pictures, scipy's distributions."""
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")


MANUAL = (
    *("breakyard", "breakyard.errors", "breakyard.units", "breakyard.run", "breakyard.calibration"),
    *("breakyard.curve", "breakyard.converter", "breakyard.pull.results", "breakyard.comparison"),
    *("breakyard.plan.ranges", "breakyard.plan.rig", "breakyard.plan.specimens"),
    *(
        f"breakyard.report.figures.{of}_figure"
        for of in ("pull", "overlay", "card", "calibration", "plateau")
    ),
    *(
        "breakyard.report.figures.extension_figure",
        "breakyard.report.figures.style",
        "breakyard.report.overlay",
    ),
    *("breakyard.formats.read_csv", "breakyard.session.session", "breakyard.session.pulls"),
    *("breakyard.session.reading", "breakyard.device.logger", "breakyard.device.client.client"),
)
"""What the manual tells: the front door, and the rooms behind its names."""


def run(*words: str | Path, folder: Path = ROOT, **more: str) -> None:
    """Run a command in the checkout; stop with its status if it fails."""
    done = subprocess.run([str(word) for word in words], cwd=folder, env={**os.environ, **more}, check=False)
    if done.returncode:
        sys.exit(done.returncode)


def set_up(extra: str = "", or_else: str = "") -> None:
    """Make .venv hold the package (editable) with an extra, unless it does already; or with less where pip cannot.

    A mark per extra holds the hash of pyproject.toml, so that a changed list of packages is installed again.
    """
    if sys.version_info < (3, 11):
        sys.exit(f"tasks.py needs Python 3.11 or later; this is {sys.version.split()[0]}")
    wanted = hashlib.sha256((ROOT / "pyproject.toml").read_bytes() + sys.version.encode()).hexdigest()
    mark = VENV / f".installed-{extra or 'plain'}"
    if mark.exists() and mark.read_text() == wanted:
        return
    if not PYTHON.exists():
        try:
            subprocess.run([sys.executable, "-m", "venv", str(VENV)], check=True)
        except subprocess.CalledProcessError:
            shutil.rmtree(VENV, ignore_errors=True)
            sys.exit("cannot make a virtual environment: on Debian and its kin, install python3-venv")
    print("setting up .venv (once; some minutes on a slow line) ...", file=sys.stderr, flush=True)
    target = f".[{extra}]" if extra else "."
    install = (PYTHON, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--editable")
    if or_else and subprocess.run([*map(str, install), target], cwd=ROOT, check=False).returncode:
        print(f"pip cannot install {target} here: what needs it is left out", file=sys.stderr, flush=True)
        set_up(or_else)
        return
    run(*install, target)
    mark.write_text(wanted)


def demo(*words: str) -> None:
    set_up()
    run(PYTHON, "-m", "breakyard", "demo", *words)


def test(*words: str) -> None:
    # With the virtual radio and browsers' driver where pip can bring them; what pip never brings (dbus-daemon, a
    # browser) is skipped with the reason, and in CI it is there.
    ci = bool(os.environ.get("CI"))
    set_up("test,air", or_else="" if ci else "test")
    if ci:
        # A second assembler for the PIO program; alone, since what it comes with is for boards that run Linux.
        quiet = ("--quiet", "--disable-pip-version-check", "--no-deps")
        run(PYTHON, "-m", "pip", "install", *quiet, "adafruit-circuitpython-pioasm==1.3.8")
    run(PYTHON, "-m", "pytest", *(words or ("-n", "2", "--dist", "loadgroup")))


def lint() -> None:
    set_up("dev")
    run(PYTHON, "-m", "ruff", "check", ".")
    run(PYTHON, "-m", "ruff", "format", "--check", ".")
    run(PYTHON, "-m", "mypy")
    _lint_firmware()
    _lint_page()
    run(
        BIN / "lint-imports",
        "--no-cache",
        PYTHONPATH=os.pathsep.join((str(ROOT / "host"), str(ROOT / "firmware"))),
    )


PAGE_TOOLS = (
    "@biomejs/biome@2.6",
    "typescript@5.9",
    "@types/web-bluetooth@0.0.22",
    "@types/w3c-web-serial@1.0.8",
)
"""What looks at the field page's JavaScript; from npm, into a folder of its own."""


def _lint_page() -> None:
    """Style and types of the field page; left out, with a word about it, where there is no npm."""
    npm = shutil.which("npm")
    if npm is None:
        if os.environ.get("CI"):
            sys.exit("no npm: in CI the field page is linted")
        print("no npm: the field page's JavaScript is not linted", file=sys.stderr)
        return
    folder = STUBS / "page"
    mark = folder / ".installed"
    if not mark.exists() or mark.read_text() != " ".join(PAGE_TOOLS):
        folder.mkdir(parents=True, exist_ok=True)
        quiet = ("--silent", "--no-save", "--no-audit", "--no-fund")
        run(npm, "install", *quiet, "--prefix", folder, *PAGE_TOOLS)
        mark.write_text(" ".join(PAGE_TOOLS))
    tools = folder / "node_modules" / ".bin"
    run(tools / "biome", "lint", "--error-on-warnings", "--config-path", "tests/page", "host/page")
    types = folder / "node_modules" / "@types"
    run(tools / "tsc", "--project", "tests/page/tsconfig.json", "--typeRoots", types)


def _lint_firmware() -> None:
    """Check firmware/ against the published stubs of each board family.

    The stub packages replace the standard library's types and exclude one another, so each has a folder of its own.
    """
    for port, (package, others) in PORTS.items():
        folder = STUBS / port
        if not (folder / ".installed").exists():
            run(
                PYTHON,
                "-m",
                "pip",
                "install",
                "--quiet",
                "--disable-pip-version-check",
                "--target",
                folder,
                package,
            )
            (folder / ".installed").write_text(package)
        words = ["--config-file", "mypy.ini", "--custom-typeshed-dir", folder, *others]
        run(PYTHON, "-m", "mypy", *words, folder=ROOT / "firmware", MYPYPATH=str(folder))


def docs() -> None:
    set_up("test")
    run(PYTHON, "protocol/check.py")
    run(PYTHON, "-m", "pytest", "tests/docs")


def manual(folder: str = "manual") -> None:
    """Make the manual of the library; a name or a type that cannot be shown is an error."""
    set_up("dev")
    run(
        *(PYTHON, "-W", "error", "-m", "pdoc", "--docformat", "google", "--no-show-source"),
        *("--output-directory", folder, *MANUAL),
    )
    print(f"written: {Path(folder) / 'breakyard.html'}")


def wheel() -> None:
    """Prove that the installed package, away from the checkout, carries the firmware."""
    set_up("dev")
    with tempfile.TemporaryDirectory() as folder:
        run(PYTHON, "-m", "build", "--wheel", "--outdir", folder)
        elsewhere = Path(folder) / "venv"
        run(PYTHON, "-m", "venv", elsewhere)
        python = elsewhere / BIN.name / PYTHON.name
        (built,) = Path(folder).glob("*.whl")
        run(python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", built)
        subprocess.run(
            [str(python), "-m", "breakyard", "demo", "--folder", "session"], cwd=folder, check=True
        )


WITHOUT_MICROPYTHON = (
    "tests/chain/test_field_station.py",
    "tests/firmware/cpython/test_virtual_logger.py",
    "tests/host/cli/test_logger_fetch.py",
    "tests/host/cli/test_ctrl_c.py",
)
"""Tests in which somebody uses the virtual logger; most computers have CPython alone to run its firmware."""


def systems() -> None:
    """What Linux can tell of other systems: types, wheels for every library, and the virtual logger on CPython."""
    set_up("dev")
    # Not CI: what is for MicroPython alone is skipped there, as it is elsewhere.
    run(PYTHON, "-m", "pytest", *WITHOUT_MICROPYTHON, BREAKYARD_INTERPRETER="cpython", CI="")
    for system in ("win32", "darwin"):
        # The cache of one system is of no use to another.
        run(PYTHON, "-m", "mypy", "--platform", system, "--cache-dir", ROOT / ".mypy_cache" / system)
    quiet = ("--quiet", "--no-header", "--only-binary", ":all:", "--output-file", os.devnull)
    for system in SYSTEMS:
        for version in PYTHONS:
            words = ("--python-version", version, "--python-platform", system, "--extra", "test")
            # PyAV has wheels for Apple silicon from macOS 14 on; uv takes the oldest macOS that has updates, or older.
            ours = {"UV_PYTHON_DOWNLOADS": "never", "MACOSX_DEPLOYMENT_TARGET": "14.0"}
            run(BIN / "uv", "pip", "compile", *quiet, *words, "pyproject.toml", **ours)


def floors(*words: str) -> None:
    """Run tests with the lowest versions that pyproject.toml allows, on the Python that runs this file."""
    set_up("dev")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "venv"
        run(PYTHON, "-m", "venv", "--without-pip", place)
        python = place / BIN.name / PYTHON.name
        lowest = ("--quiet", "--resolution", "lowest-direct", "--python", python)
        run(BIN / "uv", "pip", "install", *lowest, "--editable", ".[test]")
        # Old libraries use what new ones below them call deprecated.
        calm = ("-p", "no:cacheprovider", "-W", "ignore::DeprecationWarning")
        run(python, "-m", "pytest", *calm, *(words or SENSITIVE))


def fuzz(*words: str) -> None:
    set_up("fuzz")
    run(PYTHON, "tests/fuzz/fuzz.py", *words)


CHIP = "rp2040js@1.4.1"
"""The emulator, from npm, into a folder of its own."""


def chip(*words: str) -> None:
    """Run tests/on_chip with the image, or the images with os.pathsep between them, in BREAKYARD_RP2_IMAGE."""
    set_up("test")
    if not os.environ.get("BREAKYARD_RP2_IMAGE"):
        sys.exit(
            "BREAKYARD_RP2_IMAGE must name an image of MicroPython for a Pico or Pico W; README says where from"
        )
    if not os.environ.get("BREAKYARD_RP2040JS"):
        npm = shutil.which("npm")
        if npm is None:
            sys.exit("no npm: the emulator comes from there (Debian: npm; node 20 or later)")
        folder = STUBS / "chip"
        mark = folder / ".installed"
        if not mark.exists() or mark.read_text() != CHIP:
            folder.mkdir(parents=True, exist_ok=True)
            quiet = ("--silent", "--no-save", "--no-audit", "--no-fund")
            run(npm, "install", *quiet, "--prefix", folder, CHIP)
            mark.write_text(CHIP)
    run(PYTHON, "-m", "pytest", *(words or ("tests/on_chip", "-v", "-s")))


def bench(*words: str) -> None:
    set_up("test")
    for script in sorted((ROOT / "tests" / "bench").glob("*.py")):
        print(f"== {script.name}", flush=True)
        run(PYTHON, script, *words)


VERBS = {
    "demo": demo,
    "test": test,
    "lint": lint,
    "docs": docs,
    "manual": manual,
    "wheel": wheel,
    "bench": bench,
    "chip": chip,
    "fuzz": fuzz,
    "systems": systems,
    "floors": floors,
}

if __name__ == "__main__":
    if len(sys.argv) < 2 or sys.argv[1] not in VERBS:
        sys.exit(__doc__)
    VERBS[sys.argv[1]](*sys.argv[2:])
