"""What the computer tells the pages, and what they may ask: one JSON object a message.

To the pages: `hello` (everything, once), `logger` (what changed of it), `reading` (a pull, read), `answer` (to a
request, by its id). Records of the logger go as they are, framed, in binary messages. From the pages:
{"id", "do", "code", ...} with `do` one of DOES; all but `pair` carry out a command, and all need the pairing code.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from breakyard.errors import UsageError
from breakyard.field.pictures import MAX_PIECE
from breakyard.session.pulls import WEIGHING_PURPOSE

MAX_REQUEST: Final = 4096
"""Bytes of a request; the longest is a piece of a photo."""

MAX_TEXT: Final = 500

DOES: Final = {
    "pair": (),
    "arm": ("specimen",),
    "start": ("specimen", "purpose"),
    "stop": (),
    "mark": ("text",),
    "note": ("name", "outcome", "note"),
    "photo": ("name", "part", "parts", "data"),
    "simulate": (),
}
"""What a page may ask, and the texts that go with it."""

OUTCOMES: Final = ("", "broke", "did not break", "slipped")
PURPOSES: Final = ("", WEIGHING_PURPOSE)


@dataclass(frozen=True, slots=True)
class Request:
    """A page's request, its texts cleaned of control characters."""

    id: int
    do: str
    code: str
    texts: Mapping[str, str]


def request_of(message: str | bytes) -> Request:
    """Read a request. Raises: UsageError for anything else."""
    if isinstance(message, bytes):
        raise UsageError("a request is text")
    try:
        request = json.loads(message)
    except (ValueError, RecursionError):
        raise UsageError("a request is JSON") from None
    if not isinstance(request, dict) or request.get("do") not in DOES:
        raise UsageError("that cannot be asked here")
    number, code = request.get("id"), request.get("code", "")
    if not isinstance(number, int) or isinstance(number, bool) or not isinstance(code, str):
        raise UsageError("a request has a number, and its code is text")
    texts = {}
    for name in DOES[request["do"]]:
        if name in request:
            texts[name] = _clean(request[name], name)
    return Request(number, request["do"], code, texts)


def _clean(value: object, name: str) -> str:
    if not isinstance(value, str):
        raise UsageError(f"{name} is text")
    text = "".join(sign for sign in value if sign.isprintable()).strip()
    most = MAX_PIECE if name == "data" else MAX_TEXT
    if len(text) > most:
        raise UsageError(f"{name} may have {most} letters")
    if name == "outcome" and text not in OUTCOMES:
        raise UsageError("a pull broke, did not break or slipped")
    if name == "purpose" and text not in PURPOSES:
        raise UsageError("a recording from here is a pull or a weighing")
    return text


def message_of(kind: str, **values: Any) -> str:
    """A message to the pages."""
    return json.dumps({"type": kind, **values}, allow_nan=False, separators=(",", ":"))
