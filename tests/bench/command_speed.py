"""How long the commands make a person wait: CPU seconds beside those of the least that could do such a thing.

    python tests/bench/command_speed.py [--session demo-session] [--rounds 5] [--json]

    help       `breakyard --help`; the help of a typer program of two commands that do nothing
    report     `breakyard report` of a session with results kept; importing matplotlib and saving an empty figure
    anew       the same with the summaries kept and the comparison made anew
    summarize  `breakyard summarize` of nine of its pulls with nothing kept; importing numpy and scipy.special

CPU seconds of the process and what it starts (user and system), the least of several runs by turns. Without --session
the demo makes one first, which takes a minute.
"""

import argparse
import json
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

EMPTY_COMMANDS = """
import typer
app = typer.Typer()
@app.command()
def one() -> None: "One."
@app.command()
def two() -> None: "Two."
app()
"""
EMPTY_FIGURE = """
import sys, matplotlib
matplotlib.use("Agg")
from matplotlib.figure import Figure
Figure().savefig(sys.argv[1])
"""
ARRAYS = "import numpy, scipy.special"
NINE = ("B1", "B2", "B3", "S1", "S2", "S3", "T1", "T2", "T3")


def cpu_s(words: list[str]) -> float:
    """User and system seconds of one program."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *words], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def summarize_anew(session: Path) -> float:
    for kept in (session / "results").glob("*.summary.json"):
        kept.unlink()
    return cpu_s(["-m", "breakyard", "summarize", *(str(session / "runs" / f"{name}.run") for name in NINE)])


def report_compared_anew(session: Path, page: str) -> float:
    (session / "results" / "comparison.json").unlink(missing_ok=True)
    return cpu_s(["-m", "breakyard", "report", str(session), "--output", page])


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--session", type=Path, help="a demo's session; it is copied")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        session = Path(folder) / "session"
        if options.session is None:
            cpu_s(["-m", "breakyard", "demo", "--folder", str(session)])
        else:
            shutil.copytree(options.session, session)
        page, picture = str(Path(folder) / "page.html"), str(Path(folder) / "empty.png")
        cpu_s(["-m", "breakyard", "summarize", str(session)])  # the results are kept from here on
        pairs = {
            "help": (
                lambda: cpu_s(["-m", "breakyard", "--help"]),
                lambda: cpu_s(["-c", EMPTY_COMMANDS, "--help"]),
            ),
            "report": (
                lambda: cpu_s(["-m", "breakyard", "report", str(session), "--output", page]),
                lambda: cpu_s(["-c", EMPTY_FIGURE, picture]),
            ),
            "anew": (
                lambda: report_compared_anew(session, page),
                lambda: cpu_s(["-c", EMPTY_FIGURE, picture]),
            ),
            "summarize": (lambda: summarize_anew(session), lambda: cpu_s(["-c", ARRAYS])),
        }
        found = {}
        for name, functions in pairs.items():
            rounds = [[function() for function in functions] for _ in range(options.rounds)]
            ours, least = (min(column) for column in zip(*rounds, strict=True))
            found[name] = {"cpu_s": ours, "baseline_s": least, "ratio": ours / least}
    if options.json:
        print(json.dumps(found))
        return
    for name, values in found.items():
        print(
            f"{name:10} {values['cpu_s']:.2f} s, baseline {values['baseline_s']:.2f} s, ratio {values['ratio']:.2f}"
        )


if __name__ == "__main__":
    main()
