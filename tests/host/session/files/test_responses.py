"""Step responses kept in a session: found by logger, never replaced silently, damaged ones named."""

from dataclasses import replace
from pathlib import Path

import pytest
from step_cuts import cuts_of

from breakyard.converter import StepResponse, find_cuts, measure
from breakyard.errors import DataError, UsageError
from breakyard.session.files.layout import SESSION_FILE
from breakyard.session.files.responses import find_response, keep_response, response_file, visible_responses


@pytest.fixture(scope="module")
def response() -> StepResponse:
    conversions = cuts_of(2, 4)
    cuts = find_cuts(conversions.time_s, conversions.counts, "cuts")
    return measure(cuts, logger="ab12", created="2026-05-01", gain=128, sources=())


def test_it_is_kept_once_and_found_by_its_logger(tmp_path: Path, response: StepResponse) -> None:
    """The same again is no change; another one needs --replace."""
    path = response_file(tmp_path, "ab12")

    assert keep_response(path, response)
    assert not keep_response(path, replace(response, created="2026-05-02"))
    assert find_response(tmp_path, "ab12") == response
    assert find_response(tmp_path, "cd34") is None
    with pytest.raises(UsageError, match="--replace"):
        keep_response(path, replace(response, order=3))
    assert keep_response(path, replace(response, order=3), replace=True)


def test_a_session_beside_this_one_counts_and_the_own_comes_first(
    tmp_path: Path, response: StepResponse
) -> None:
    """A response belongs to the logger, not to the day."""
    for name in ("day1", "day2"):
        (tmp_path / name).mkdir()
        (tmp_path / name / SESSION_FILE).write_text("")
    keep_response(response_file(tmp_path / "day1", "ab12"), response)

    assert find_response(tmp_path / "day2", "ab12") == response
    own = replace(response, created="2026-04-01")
    keep_response(response_file(tmp_path / "day2", "ab12"), own)
    assert find_response(tmp_path / "day2", "ab12") == own
    assert len(visible_responses(tmp_path / "day2")) == 2


def test_a_damaged_one_is_named(tmp_path: Path, response: StepResponse) -> None:
    """With the file, and what to do."""
    path = response_file(tmp_path, "ab12")
    keep_response(path, response)
    path.write_text(path.read_text().replace('"order": 4', '"order": 3'))

    with pytest.raises(DataError, match=r"ab12\.json: this step response was changed"):
        find_response(tmp_path, "ab12")
