"""Coverage-guided fuzzing of everything that eats foreign bytes: python3 tasks.py fuzz [--inputs 10000000]

Each target of fuzz_targets gets its share of the inputs, in a process of its own, with atheris (libFuzzer) where it is
installed and with plain random changes where it is not. Stops at the first finding and prints how to repeat it; at the
end one line per target: inputs, inputs per second, coverage reached, peak memory. An input that takes more than 20 s or
a process that grows beyond 1 GB is a finding as well.
"""

import argparse
import os
import random
import re
import shutil
import subprocess
import sys
import time
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from fuzz_mutate import mutated  # noqa: E402
from fuzz_targets import SHARES  # noqa: E402
from fuzz_targets.places import PLACE, memory  # noqa: E402

LIMIT_MB = 1024
MICROPYTHON_SHARE = 33
"""One input in so many more, for the firmware in the real interpreter."""
LONGEST_S = 20
ROUND = {"run_file": 15_000, "wire_stream": 15_000}
"""Most inputs of one process: atheris 3.0 keeps the result of every comparison of numpy arrays (16 KB per input here;
without it the same inputs leave memory level). The inputs that were new go on to the next process."""


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inputs", type=int, default=1_000_000, help="over all targets")
    parser.add_argument("--target", choices=list(SHARES), help="only this one")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        _child(options.target, options.inputs, options.seed)
        return
    guided = find_spec("atheris") is not None
    print(
        "guided by coverage (atheris)" if guided else "not guided: atheris is not installed here", flush=True
    )
    names = [options.target] if options.target else list(SHARES)
    whole = sum(SHARES[name] for name in names)
    total = 0
    for name in names:
        total += _run(name, max(1, options.inputs * SHARES[name] // whole), options.seed, guided)
    if not options.target:
        total += _on_micropython(max(1000, options.inputs // MICROPYTHON_SHARE), options.seed)
    print(f"in all {total} inputs, {len(names)} targets, no finding", flush=True)


def _on_micropython(inputs, seed):
    """The firmware core in the real interpreter, not guided; returns how many inputs it ate."""
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        print("no MicroPython interpreter here: the firmware was tried under CPython only")
        return 0
    root = HERE.parent.parent
    folders = [root / "tests" / "firmware", root / "firmware", root / "firmware" / "virtual", ".frozen"]
    began = time.monotonic()
    done = subprocess.run(
        [
            found,
            "-X",
            "heapsize=2m",
            root / "tests" / "on_micropython" / "hostile_inputs.py",
            str(inputs),
            str(seed),
        ],
        env={**os.environ, "MICROPYPATH": os.pathsep.join(map(str, folders))},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        sys.exit(f"{done.stdout}{done.stderr}\nhostile_inputs.py {inputs} {seed}: a finding")
    rate = inputs / (time.monotonic() - began)
    print(
        f"{'on MicroPython':18} {inputs:9d} inputs {rate:8.0f}/s  {done.stdout.splitlines()[0]}", flush=True
    )
    return inputs


def _run(name, inputs, seed, guided):
    """Run one target in processes of its own; returns how many inputs it ate."""
    eaten = 0
    with TemporaryDirectory(prefix=f"fuzz-{name}-", dir=memory()) as folder:
        (Path(folder) / "corpus").mkdir()
        while eaten < inputs:
            part = min(inputs - eaten, ROUND.get(name, inputs))
            eaten += _run_part(name, part, seed + eaten, guided, Path(folder))
    return eaten


def _run_part(name, inputs, seed, guided, folder):
    corpus = folder / "corpus"
    words = [sys.executable, str(HERE / "fuzz.py"), "--child", "--target", name, "--inputs", str(inputs)]
    words += ["--seed", str(seed)]
    began = time.monotonic()
    done = subprocess.run(
        words,
        cwd=folder,
        env={**os.environ, "FUZZ_GUIDED": str(int(guided)), "FUZZ_CORPUS": str(corpus), PLACE: str(folder)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        check=False,
    )
    took_s = time.monotonic() - began
    if done.returncode:
        found = sorted(path for path in folder.iterdir() if path.is_file())
        for path in found:
            print(f"{name}: {path.name}: {path.read_bytes().hex()}")
        sys.exit(f"{done.stdout[-6000:]}\n{name}: a finding; put it into tests/fuzz/regressions.json")
    return _report(name, done.stdout, took_s)


def _report(name, said, took_s):
    def last(label):
        found = re.findall(rf"{label}: *(\d+)", said)
        return found[-1] if found else "-"

    inputs = int(last("number_of_executed_units"))
    print(
        f"{name:18} {inputs:9d} inputs {inputs / took_s:8.0f}/s  coverage {last('cov'):>5} features {last('ft'):>6} "
        f"corpus {last('corp'):>5}  {last('peak_rss_mb'):>4} MB (after a tenth {last('tenth_mb')})",
        flush=True,
    )
    return inputs


def _child(name, inputs, seed):
    if os.environ.get("FUZZ_GUIDED") == "1":
        _guided(name, inputs, seed)
    else:
        _unguided(name, inputs, seed)


def _watched(try_one, inputs):
    """The target, telling how much memory the process had after a tenth of the inputs."""
    left = max(1, inputs // 10)

    def watched(data):
        nonlocal left
        left -= 1
        if left == 0:
            print(f"tenth_mb: {_memory_mb()}", flush=True)
        try_one(data)

    return watched


def _guided(name, inputs, seed):
    import atheris

    with atheris.instrument_imports(include=["breakyard", "logger"]):
        target = import_module(f"fuzz_targets.{name}")
    corpus = Path(os.environ["FUZZ_CORPUS"])
    for number, data in enumerate(target.seeds()):
        (corpus / f"seed-{number:04d}").write_bytes(data[: target.MAX_LEN])
    words = [sys.argv[0], str(corpus), f"-runs={inputs}", f"-max_len={target.MAX_LEN}", f"-seed={seed}"]
    words += [f"-timeout={LONGEST_S}", f"-rss_limit_mb={LIMIT_MB}", "-print_final_stats=1", "-len_control=20"]
    atheris.Setup(words, _watched(target.try_one, inputs))
    atheris.Fuzz()


def _unguided(name, inputs, seed):
    target = import_module(f"fuzz_targets.{name}")
    seeds = target.seeds()
    draw = random.Random(seed)
    try_one = _watched(target.try_one, inputs)
    for _ in range(inputs):
        data = mutated(draw, seeds, target.MAX_LEN)
        began = time.monotonic()
        try:
            try_one(data)
            assert time.monotonic() - began < LONGEST_S, "too slow"
            assert _memory_mb() < LIMIT_MB, "too much memory"
        except BaseException:
            Path("crash").write_bytes(data)
            raise
    print(f"number_of_executed_units: {inputs}\npeak_rss_mb: {_memory_mb()}")


def _memory_mb():
    """Peak memory of this process; Linux counts kibibytes, macOS bytes, and Windows tells none."""
    try:
        import resource
    except ImportError:
        return 0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak // (1 << 20 if sys.platform == "darwin" else 1024)


if __name__ == "__main__":
    main()
