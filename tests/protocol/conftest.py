"""The table and the vectors, read once."""

import json
from pathlib import Path

import pytest

PROTOCOL = Path(__file__).parent.parent.parent / "protocol"


@pytest.fixture(scope="session")
def protocol_folder():
    return PROTOCOL


@pytest.fixture(scope="session")
def table():
    """records.json."""
    return json.loads((PROTOCOL / "records.json").read_text("utf-8"))


def pytest_generate_tests(metafunc):
    """A test with an argument valid_case, invalid_case or stream_case runs once for each vector."""
    for name, file in (("valid_case", "valid"), ("invalid_case", "invalid"), ("stream_case", "streams")):
        if name in metafunc.fixturenames:
            cases = json.loads((PROTOCOL / "vectors" / f"{file}.json").read_text("utf-8"))["cases"]
            metafunc.parametrize(name, cases, ids=[case["id"] for case in cases])
