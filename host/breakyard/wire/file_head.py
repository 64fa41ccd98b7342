"""The record that a run file begins with, so that a stray file tells what it is (protocol/SPEC.md, FILE)."""

from functools import cache

from breakyard.wire.frame import frame
from breakyard.wire.layout import TABLE, VERSION
from breakyard.wire.records import FileHead, build


@cache
def file_head() -> bytes:
    """FILE with its framing, the same bytes in every file of this version."""
    text = f"Breakyard run file, protocol {VERSION}"
    return frame(build(FileHead(run=0, index=0, text=text, table=TABLE)))
