"""Firmware and client together: the real firmware files in a real interpreter, at the other end of a byte link."""

import asyncio
from pathlib import Path

import numpy as np
import pytest
from over_breaks import fetch_over_breaks

from breakyard.calibration import calibrate, load_of_copy, mass_point, record_for_device
from breakyard.device.client.client import Client, Refused
from breakyard.device.client.download import fetch, kept_part
from breakyard.device.link.memory import CutLink
from breakyard.errors import LinkError, LinkLost
from breakyard.run import read_run
from breakyard.simulate.logger import VirtualLogger
from breakyard.wire.frame import NEED_DATA, FrameReader
from breakyard.wire.layout import EndCause
from breakyard.wire.records import CalibrationCopy, RunEnd

from .conftest import ShortPull

TIMEOUT_S = 60.0


async def record(logger: VirtualLogger, pull: ShortPull) -> int:
    """A: the host arms.  B: the logger sees the pull and ends the run by its hang time."""
    async with Client(logger.link(), first_index=1, answer_timeout_s=TIMEOUT_S) as client:
        await client.hello()
        await logger.load(pull.feed)
        run = await client.arm()
        await logger.run(pull.duration_s)
        return run


async def straight(pull: ShortPull, path: Path, interpreter: str | None = None) -> tuple[bytes, RunEnd]:
    """Record and fetch over a link that holds."""
    async with VirtualLogger(interpreter) as logger:
        run = await record(logger, pull)
        async with Client(logger.link(), first_index=100, answer_timeout_s=TIMEOUT_S) as client:
            end = await fetch(client, run, path)
    assert end is not None
    return path.read_bytes(), end


@pytest.mark.parametrize("interpreter", ["micropython", "cpython"])
def test_counts_and_times_arrive_as_the_converter_made_them(
    interpreter: str, short_pull: ShortPull, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """What the host decodes is what the converter converted, sample for sample, times to half a step."""
    if interpreter == "micropython":
        request.getfixturevalue("micropython")

    data, end = asyncio.run(straight(short_pull, tmp_path / "a.run", interpreter))

    run = read_run(data)
    feed = short_pull.conversions
    first = int(np.flatnonzero(feed.counts == run.counts[0])[0])
    expected = feed.counts[first : first + len(run.counts)]
    assert run.loss.complete
    assert end.cause == EndCause.HANG
    assert len(run.counts) > 1000
    assert np.array_equal(expected, run.counts)
    spacing = feed.time_s[first : first + len(run.counts)] - feed.time_s[first]
    assert np.abs(run.time_s - spacing).max() < 25e-6


def test_both_interpreters_give_the_same_bytes(
    micropython: str, short_pull: ShortPull, tmp_path: Path
) -> None:
    """But for the interpreter's name in IDENTITY, and so the hash over it, MicroPython and CPython agree."""
    one, _ = asyncio.run(straight(short_pull, tmp_path / "a.run", "micropython"))
    other, _ = asyncio.run(straight(short_pull, tmp_path / "b.run", "cpython"))

    assert samples(one) == samples(other)
    assert len(samples(one)) > 20


def samples(data: bytes) -> list[bytes]:
    """The records of a file that do not depend on the interpreter's name."""
    reader = FrameReader()
    reader.receive_data(data)
    found = []
    while (record := reader.next_bytes()) is not NEED_DATA:
        assert isinstance(record, bytes)
        if record[0] not in (1, 7):  # IDENTITY, RUN_END
            found.append(record)
    return found


def test_after_link_cuts_the_run_is_complete_and_byte_identical(
    short_pull: ShortPull, tmp_path: Path
) -> None:
    """The link breaks after ever different numbers of bytes; what is fetched in pieces equals the whole."""
    whole, _ = asyncio.run(straight(short_pull, tmp_path / "whole.run"))

    async def in_pieces() -> tuple[bytes, int]:
        async with VirtualLogger() as logger:
            run = await record(logger, short_pull)
            numbers = iter(range(1000, 100_000, 1000))
            cuts = CutLink(logger.link(), [1, 700, 3, 1500, 256, 999, 2048, 57])

            async def connect() -> Client:
                return Client(cuts, first_index=next(numbers), answer_timeout_s=TIMEOUT_S)

            end = await fetch_over_breaks(connect, run, tmp_path / "pieces.run")
            assert end is not None
            return (tmp_path / "pieces.run").read_bytes(), cuts.cut_count

    pieces, cut_count = asyncio.run(in_pieces())

    assert cut_count == 8
    assert pieces == whole
    assert read_run(pieces).loss.complete


def test_a_host_killed_while_writing_goes_on_where_it_stopped(short_pull: ShortPull, tmp_path: Path) -> None:
    """A file cut in the middle of a record is readable, and a later fetch makes it whole."""
    path = tmp_path / "x.run"

    async def go() -> None:
        async with VirtualLogger() as logger:
            run = await record(logger, short_pull)
            async with Client(logger.link(), first_index=100, answer_timeout_s=TIMEOUT_S) as client:
                await fetch(client, run, path)
            whole = path.read_bytes()
            for number, cut in enumerate((0, 1, 300, len(whole) // 2, len(whole) - 1), start=1):
                path.write_bytes(whole[:cut])
                kept, size = kept_part(path, run)
                async with Client(
                    logger.link(), first_index=1000 * number, answer_timeout_s=TIMEOUT_S
                ) as client:
                    await fetch(client, run, path)

                assert path.read_bytes() == whole
                assert size <= cut + 1
                assert kept == 0 or size > 0

    asyncio.run(go())


def test_losing_the_link_while_a_run_is_recorded_changes_nothing(
    short_pull: ShortPull, tmp_path: Path
) -> None:
    """Recording never depends on the link: following the run over a breaking link gives the same file."""
    whole, _ = asyncio.run(straight(short_pull, tmp_path / "whole.run"))
    path = tmp_path / "followed.run"

    async def go() -> RunEnd | None:
        async with VirtualLogger() as logger:
            async with Client(logger.link(), first_index=1, answer_timeout_s=TIMEOUT_S) as client:
                await client.hello()
                await logger.load(short_pull.feed)
                run = await client.arm()
            await logger.run(short_pull.duration_s * 0.6)
            link = CutLink(logger.link(), [900])
            with pytest.raises(LinkError):
                async with Client(link, first_index=50, answer_timeout_s=TIMEOUT_S) as client:
                    await fetch(client, run, path, follow=True)
            await logger.run(short_pull.duration_s * 0.4)
            async with Client(logger.link(), first_index=90, answer_timeout_s=TIMEOUT_S) as client:
                return await fetch(client, run, path)

    end = asyncio.run(go())

    assert end is not None
    assert samples(path.read_bytes()) == samples(whole)
    assert read_run(path.read_bytes()).loss.complete


def test_power_lost_in_the_middle_leaves_a_readable_file(short_pull: ShortPull, tmp_path: Path) -> None:
    """What was followed until the battery went is a run that says it is not complete."""
    path = tmp_path / "x.run"

    async def go() -> None:
        async with (
            VirtualLogger() as logger,
            Client(logger.link(), first_index=1, answer_timeout_s=TIMEOUT_S) as client,
        ):
            await client.hello()
            await logger.load(short_pull.feed)
            run = await client.arm()
            await logger.run(short_pull.duration_s * 0.6)
            following = asyncio.create_task(fetch(client, run, path, follow=True))
            while kept_part(path, run)[0] < 5:
                await asyncio.sleep(0.01)
            await logger.power_off()
            with pytest.raises(LinkLost):
                await following

    asyncio.run(go())

    run = read_run(path.read_bytes())
    assert not run.loss.complete
    assert run.end is None
    assert len(run.counts) > 45


def test_marks_status_and_clock_reach_the_run(short_pull: ShortPull, tmp_path: Path) -> None:
    """A mark lies at its device time in the run; status tells the samples; the clock anchor is kept."""
    path = tmp_path / "x.run"

    async def go() -> float:
        async with (
            VirtualLogger() as logger,
            Client(logger.link(), first_index=1, answer_timeout_s=TIMEOUT_S) as client,
        ):
            await client.hello()
            await client.synchronise(exchanges=2)
            await logger.load(short_pull.feed)
            await client.stream_status(True)
            run = await client.start()
            await logger.run(2.0)
            marked = await client.mark(0, "slack out")
            await logger.run(1.0)
            assert client.status is not None
            await client.stream_status(False)
            assert client.status.samples > 200
            assert await client.stop() == run
            await fetch(client, run, path)
            return marked

    marked = asyncio.run(go())

    run = read_run(path.read_bytes())
    assert [mark.text for mark in run.marks] == ["slack out"]
    assert run.marks[0].mark_s + run.marks[0].mark_us * 1e-6 == pytest.approx(marked, abs=1e-9)
    assert run.end is not None
    assert run.end.cause == EndCause.COMMAND
    assert run.start_utc_s is not None


def test_a_calibration_is_kept_and_read_back_with_its_hash(tmp_path: Path) -> None:
    """What the logger keeps computes the load of the whole calibration, and names it; none is kept at first."""
    points = [mass_point(kg, 10_000 + 8400 * kg) for kg in (0.0, 20.0, 40.0, 40.0, 20.0, 0.0)]
    made = calibrate(points, gain=128, name="spring", created="2026-05-03T08:00:00+00:00")

    async def go() -> tuple[CalibrationCopy | None, CalibrationCopy | None]:
        async with (
            VirtualLogger() as logger,
            Client(logger.link(), first_index=1, answer_timeout_s=TIMEOUT_S) as client,
        ):
            before = await client.read_calibration()
            await client.store_calibration(record_for_device(made))
            await client.arm()
            with pytest.raises(Refused, match="BAD_STATE"):
                await client.store_calibration(record_for_device(made))
            await client.stop()
            return before, await client.read_calibration()

    before, kept = asyncio.run(go())

    assert before is None
    assert kept is not None
    assert kept.sha256.hex() == made.content_hash
    assert kept.name == "spring"
    for counts in (10_000, 178_000, 514_000, 6_000_000):
        assert load_of_copy(kept, counts, 10_000.0) == pytest.approx(
            float(made.load_n(counts, 10_000.0)), rel=1e-6, abs=1e-3
        )
