"""What pages may ask: requests are read strictly, texts are cleaned."""

import json

import pytest

from breakyard.errors import UsageError
from breakyard.field.messages import MAX_TEXT, message_of, request_of


def test_a_request_has_only_the_texts_that_go_with_it() -> None:
    """Control characters go; what does not belong to the request is not taken."""
    request = request_of('{"id": 3, "do": "mark", "code": "123", "text": " cra\\u0007ck ", "specimen": "B1"}')

    assert (request.id, request.do, request.code) == (3, "mark", "123")
    assert dict(request.texts) == {"text": "crack"}


@pytest.mark.parametrize(
    "message",
    [
        b"{}",
        "not json",
        "[" * 100_000,
        "[]",
        '{"do": "erase", "id": 1}',
        '{"do": "stop"}',
        '{"do": "stop", "id": true}',
        '{"do": "stop", "id": 1, "code": 5}',
        '{"do": "mark", "id": 1, "text": 5}',
        json.dumps({"do": "mark", "id": 1, "text": "x" * (MAX_TEXT + 1)}),
        '{"do": "note", "id": 1, "outcome": "exploded"}',
    ],
)
def test_anything_else_is_refused_in_one_line(message: str | bytes) -> None:
    """Whatever a stranger in the network sends."""
    with pytest.raises(UsageError) as problem:
        request_of(message)
    assert "\n" not in str(problem.value)


def test_a_message_says_its_kind() -> None:
    """One JSON object, without numbers that JSON does not know."""
    assert json.loads(message_of("logger", link="on")) == {"type": "logger", "link": "on"}
    with pytest.raises(ValueError, match="JSON"):
        message_of("logger", load=float("nan"))
