"""The moment of the break in clips in which it is known; sound, picture, lamp and person."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from clip_maker import Coding, Scene
from clips_of_pulls import clip_case, true_known

from breakyard.errors import DataError, UsageError
from breakyard.video.alignment import Filmed, TiePoint, speed_of_sound
from breakyard.video.clip import Clip, sound_blocks
from breakyard.video.find import KnownBreak, Stated, find_alignment, lamp_seen
from breakyard.video.heard import noises
from breakyard.video.seen import changes

Films = Callable[..., Clip]

KNOWN = KnownBreak(TiePoint(12.0, 0.003), broke=True, onset_s=4.0)


def test_speed_of_sound() -> None:
    """331.45 m/s at 0 C and 343.2 at 20 C (ISO 9613-1:1993 gives the latter; the former: Wong, J. Acoust. Soc. Am. 79,
    1986, 331.29, within 0.1 %)."""
    assert speed_of_sound(20.0) == pytest.approx(343.2)
    assert speed_of_sound(0.0) == pytest.approx(331.29, rel=0.001)


def test_a_bang_is_heard_within_two_milliseconds_through_a_coder(films: Callable[..., Clip]) -> None:
    """AAC smears it forward; the largest jump stays. Weaker noises come after it in the list."""
    scene = Scene(length_s=4.0, break_s=2.051, other_bangs=((0.9, 0.35), (3.2, 0.4)), width=64, height=36)
    found = noises(sound_blocks(films(scene)))

    assert found[0].time_s == pytest.approx(2.051, abs=0.002)
    assert [one.weight < 0.7 for one in found[1:]] == [True] * len(found[1:])
    assert {round(one.time_s, 1) for one in found[1:]} >= {0.9, 3.2}


def test_the_first_frame_that_shows_it_is_found(films: Callable[..., Clip]) -> None:
    """Between somebody who walks and a hand that shakes; one frame this way or that."""
    scene = Scene(length_s=4.0, break_s=2.513, shake_px=2, bang=False)
    clip = films(scene)
    best = changes(clip)[0]

    assert best.time_s == pytest.approx(2.533, abs=0.034)
    assert best.step_s == pytest.approx(1 / 30, abs=1e-3)


@pytest.mark.parametrize("number", range(16))
def test_the_offset_is_within_its_stated_uncertainty(films: Callable[..., Clip], number: int) -> None:
    """Clips of all kinds (rates, VFR, rolling shutter, distance said or not, other bangs): found, and within the stated
    half-width. 200 of them: tests/bench/video_offset.py."""
    case = clip_case(number, quick=True)
    clip = films(case.scene, case.coding)
    found = find_alignment(clip, true_known(case), case.filmed, Stated())

    assert found is not None
    assert found.sure
    wanted = case.break_in_clip_s
    assert abs(found.clip_s - wanted) / case.filmed.stretch <= found.half_width_s


def test_a_stated_distance_moves_the_sound_and_narrows_it(films: Callable[..., Clip]) -> None:
    """34.3 m are 100 ms; said, sound alone is within 60 ms, unsaid within 120."""
    scene = Scene(length_s=3.0, break_s=1.5, bang_late_s=0.1, width=64, height=36, shake_px=0)
    clip = films(scene)
    heard = noises(sound_blocks(clip))
    told = find_alignment(clip, KNOWN, Filmed(34.3, 20.0), Stated())

    from breakyard.video.alignment import heard_clue

    near, far = heard_clue(heard[0], Filmed(34.3, 20.0)), heard_clue(heard[0], Filmed())
    assert near.time_s == pytest.approx(1.5, abs=0.003)
    assert near.standard_s < 0.5 * far.standard_s
    assert told is not None
    assert {clue.source for clue in told.clues} == {"sound", "picture"}


def test_clues_that_disagree_are_told(films: Callable[..., Clip]) -> None:
    """Somebody points at a frame half a second from the bang: the person is followed, and the difference said."""
    scene = Scene(length_s=3.0, break_s=1.5, width=64, height=36)
    found = find_alignment(films(scene), KNOWN, Filmed(5.0), Stated(break_s=2.0))

    assert found is not None
    assert found.clip_s == pytest.approx(1.983, abs=0.02)
    assert [clue.source for clue in found.others] == ["sound"]
    assert "they disagree by" in found.words[0]


def test_two_equal_bangs_are_not_chosen_between(films: Callable[..., Clip]) -> None:
    """Nothing in the picture, two noises alike: not sure, both named."""
    scene = Scene(length_s=4.0, break_s=1.2, other_bangs=((2.8, 1.0),), width=64, height=36, walker=False)
    scene = replace(scene, noise=0.0, shake_px=0)
    dark = replace(scene, shutter_s=0.0)
    heard = noises(sound_blocks(films(dark)))
    from breakyard.video.alignment import choose

    found = choose(heard, (), TiePoint(12.0, 0.003), Filmed(5.0))

    assert found is not None
    assert not found.sure
    assert "may as well be the break" in found.words[-1]


def test_a_clip_without_sound_or_change_ties_nothing(films: Callable[..., Clip]) -> None:
    """A still picture without sound: nothing is made up."""
    scene = Scene(2.0, 2.0, 64, 36, noise=0.0, shake_px=0, walker=False, creep=0.0)
    scene = replace(scene, break_s=None)
    assert find_alignment(films(scene, Coding(sound=None, gop=600)), KNOWN, Filmed(), Stated()) is None


def test_the_lamp_is_seen_and_taken(films: Callable[..., Clip]) -> None:
    """Lit for 0.3 s at 1.0 s of the clip, 5 s before the break by the run's mark: the clip ends before the break."""
    scene = Scene(length_s=3.0, break_s=None, bang=False, lamp_s=((1.0, 1.3),), shake_px=1)
    clip = films(scene)
    known = KnownBreak(TiePoint(12.0, 0.003), broke=False, onset_s=4.0, lamp_s=7.0)
    moment = lamp_seen(clip, 0.0, 3.0)
    found = find_alignment(clip, known, Filmed(), Stated())

    assert moment is not None
    assert moment.time_s == pytest.approx(1.0, abs=0.034)
    assert found is not None
    assert abs(found.clip_time(7.0) - 1.0) <= found.half_width_s


def test_no_lamp_is_seen_where_there_is_none(films: Callable[..., Clip]) -> None:
    """Noise, a walker and a break are no lamp."""
    assert lamp_seen(films(Scene(length_s=3.0, break_s=1.5)), 0.0, 3.0) is None


def test_the_interval_between_two_marks_tells_the_stretch(films: Callable[..., Clip]) -> None:
    """8 s from onset to break: 16 s in the clip are a stretch of two; 11 s are no slow motion of any phone."""
    scene = Scene(length_s=1.0, break_s=0.5, width=64, height=36)
    clip = replace(films(scene), times_s=films(scene).times_s * 20.0, sound="")
    twice = find_alignment(clip, KNOWN, Filmed(), Stated(break_s=17.0, onset_s=1.0))

    assert twice is not None
    assert twice.stretch == 2.0
    assert twice.clip_time(4.0) == pytest.approx(1.0, abs=0.7)  # a frame is 0.67 s long here
    with pytest.raises(DataError, match=r"shows 11\.00 s, the recording says 8\.00 s"):
        find_alignment(clip, KNOWN, Filmed(), Stated(break_s=12.0, onset_s=1.0))


def test_moments_outside_of_the_clip_are_refused(films: Callable[..., Clip]) -> None:
    """With how long it is."""
    clip = films(Scene(length_s=1.0, break_s=0.5, width=64, height=36))
    with pytest.raises(UsageError, match=r"--break-at 7: the clip is 1\.00 s long"):
        find_alignment(clip, KNOWN, Filmed(), Stated(break_s=7.0))


def test_an_onset_alone_ties_a_clip_that_ends_before_the_break(films: Callable[..., Clip]) -> None:
    """Widely: a person sees a line come taut within 0.3 s."""
    clip = films(Scene(length_s=1.0, break_s=0.5, width=64, height=36))
    found = find_alignment(clip, KNOWN, Filmed(), Stated(onset_s=0.5))

    assert found is not None
    assert found.run_time(0.5) == pytest.approx(4.0)
    assert 0.3 < found.half_width_s < 0.4


def test_a_beginning_that_was_cut_off_moves_sound_and_picture_alike(films: Callable[..., Clip]) -> None:
    """A phone's editor leaves frames and sound in the file; break and bang are found where the player shows them."""
    scene = Scene(break_s=1.6, length_s=2.6)
    options = {"preset": "veryfast", "crf": "22"}
    whole, cut = films(scene, Coding(options=options)), films(scene, Coding(options=options, cut_s=0.7))

    heard = [noises(sound_blocks(clip))[0].time_s for clip in (whole, cut)]

    assert heard[0] == pytest.approx(1.6, abs=0.003)
    assert heard[1] == pytest.approx(0.9, abs=0.003)
    assert cut.duration_s == pytest.approx(whole.duration_s - 0.7, abs=0.04)
