"""Write the golden vectors (vectors/*.json), or say which of them are not what this would write.

    python protocol/build_vectors.py            write them
    python protocol/build_vectors.py --check    print ok, outdated, missing or unexpected for each; exit 1 unless all ok

Needs the third-party package `cobs`; imports neither the host's codec nor the firmware's.
"""

import argparse
import json
import sys
from pathlib import Path

from vector_cases import conversations, invalid, seals, sessions, streams, valid

VECTORS = Path(__file__).resolve().parent / "vectors"


def documents():
    """The text of each file, by its name."""
    about = {
        "valid": (valid, "Undamaged records and their fields."),
        "invalid": (invalid, "Stretches between delimiters that a reader must refuse, and why."),
        "streams": (streams, "Streams: the records kept, the damage reported, the runs that come out."),
        "seals": (seals, "Keys and nonces, and the proofs and seals that come of them."),
        "conversations": (conversations, "What a logger that was just started must answer."),
        "sessions": (
            sessions,
            "What a logger must answer by radio, with its key and with what it has stored.",
        ),
    }
    return {f"{name}.json": _document(module, text) for name, (module, text) in about.items()}


def _document(module, about):
    cases = list(module.cases())
    ids = [case["id"] for case in cases]
    assert len(set(ids)) == len(ids), sorted(i for i in ids if ids.count(i) > 1)
    used = {flag for case in cases for flag in case["flags"]}
    assert used == set(module.FLAGS), used ^ set(module.FLAGS)
    head = {"about": about, "version": 1, "flags": module.FLAGS}
    lines = ",\n".join("  " + json.dumps(case, ensure_ascii=True) for case in cases)
    opening = json.dumps(head, indent=1, ensure_ascii=True)[:-2]
    return f'{opening},\n "cases": [\n{lines}\n ]\n}}\n'


def compare():
    """Yield (file name, ok | outdated | missing | unexpected)."""
    wanted = documents()
    for name, text in wanted.items():
        path = VECTORS / name
        if not path.exists():
            yield name, "missing"
        else:
            yield name, "ok" if path.read_bytes() == text.encode("ascii") else "outdated"
    for path in sorted(VECTORS.glob("*")):
        if path.name not in wanted:
            yield path.name, "unexpected"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="compare only")
    if parser.parse_args().check:
        verdicts = dict(compare())
        for name, verdict in verdicts.items():
            print(f"{verdict:10} vectors/{name}")
        sys.exit(any(verdict != "ok" for verdict in verdicts.values()))
    VECTORS.mkdir(exist_ok=True)
    for name, text in documents().items():
        (VECTORS / name).write_bytes(text.encode("ascii"))
        print(f"vectors/{name}: {text.count(chr(10) + '  {')} cases")


if __name__ == "__main__":
    main()
