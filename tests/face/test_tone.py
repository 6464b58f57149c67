"""The mapping from the chain's outputs to tones, and the samples of a tone."""

import itertools
import math
import re
from pathlib import Path

import numpy as np
import pytest
from coilcount.capture.reader import Report, read_capture
from coilcount.chain import Chain
from coilcount.face import tone as t
from coilcount.face.player import Stream
from coilcount.face.tone import Tone, Voice, pitch_hz
from coilcount.face.tone_samples import FADE_S, FULL_SCALE, RATE_HZ, samples
from coilcount.model import Alert, Point, Silence, Thresholds
from coilcount.settings import defaults

ROOT = Path(__file__).resolve().parents[2]
CAPTURES = ["orchard-path", "mineral-soil", "warm-up-unplug", "quiet-bench"]


def alert(stage, sign=1, response="non-ferrous", ppm=10.0, number=1, raised_s=5.0, released_s=None):
    return Alert(
        stage, number, raised_s, None if stage == "raised" else raised_s + 0.2, released_s, raised_s, False, sign,
        response, (), 9.0, ppm * (sign or 1), 0.25, 0.9, 0.2,
    )  # fmt: skip


def point(time_s, shift_ppm=0.0, ready=True, frozen=False, held=False):
    return Point(time_s, 25_000.0, shift_ppm, 0.0, 0.1, 25_000.0, 0.0, ready, frozen, held)


def points(start_s, end_s, **how):
    return [point(start_s + 0.02 * k, **how) for k in range(round(50 * (end_s - start_s)))]


def heard(outputs, threshold_ppm=1.0):
    levels = None if threshold_ppm is None else Thresholds(threshold_ppm, threshold_ppm)
    voice = Voice(lambda: levels)
    return [tone for output in outputs for tone in voice.take(output)]


def without_ticks(tones):
    return [tone for tone in tones if tone.peak > t.TICK_PEAK]


def bend(tone):
    return round(tone.to_hz / tone.from_hz, 4)


def middle_hz(tone):
    return math.sqrt(tone.from_hz * tone.to_hz)


def test_ten_times_the_shift_is_a_half_higher_for_a_rise_and_a_fall_alike():
    for ppm in (0.5, 1.0, 7.0, 200.0):
        assert pitch_hz(10 * ppm) / pitch_hz(ppm) == pytest.approx(1.5)
        assert pitch_hz(-ppm) == pitch_hz(ppm)
    assert pitch_hz(1.0) == 400.0
    assert (pitch_hz(0.0), pitch_hz(1e-9), pitch_hz(1e9)) == (320.0, 320.0, 1600.0)


def test_the_table_of_the_manual_is_what_is_played():
    table = (ROOT / "host/MANUAL.md").read_text(encoding="utf-8").split("| shift, ppm (either sign) |")[1]
    rows = [[cell.strip() for cell in row.strip(" |").split("|")] for row in table.split("\n\n")[0].splitlines()]
    shifts = [float(re.match(r"[\d.]+", cell)[0]) for cell in rows[0]]
    for place, ppm in enumerate(shifts, 1):
        assert float(rows[2][place]) == pytest.approx(pitch_hz(ppm), rel=0.003)
        for sign, row in ((1, rows[3]), (-1, rows[4])):
            [_, tone] = without_ticks(heard([alert("raised", 0, ppm=ppm), alert("settled", sign, ppm=ppm)]))
            assert [float(hz) for hz in row[place].split(",")] == pytest.approx([tone.from_hz, tone.to_hz], rel=0.003)


def test_an_alert_is_level_until_it_settles_and_then_bends_with_its_sign_until_it_is_released():
    for sign, response in ((1, "non-ferrous"), (-1, "ferrous")):
        outputs = [
            *points(4.9, 5.0), alert("raised", 0, "uncertain", ppm=4.0), *points(5.0, 5.2),
            alert("settled", sign, response), *points(5.2, 6.0), alert("released", sign, response, released_s=6.0),
            *points(6.0, 7.0), alert("final", sign, response, released_s=6.0), *points(7.0, 7.5),
        ]  # fmt: skip
        unsettled, *settled = without_ticks(heard(outputs))
        assert (bend(unsettled), middle_hz(unsettled), unsettled.start_s) == (1, pitch_hz(4.0), 5.0)
        assert [tone.start_s for tone in settled] == pytest.approx([5.2, 5.46, 5.72, 5.98], abs=0.021)
        assert {bend(tone) for tone in settled} == {round(1.25 ** (2 * sign), 4)}
        assert {round(middle_hz(tone), 6) for tone in settled} == {round(pitch_hz(10.0), 6)}
        assert {tone.pieces for tone in settled} == {1}


def test_an_uncertain_alert_bends_in_pieces_and_a_changed_answer_is_heard_again():
    outputs = [alert("raised", 0, "uncertain"), alert("settled", -1, "ferrous", released_s=5.3), *points(5.3, 6.0)]
    outputs += [alert("settled", 1, "non-ferrous", released_s=5.3), alert("final", 1, "uncertain", released_s=5.3)]
    _, first, second, third = without_ticks(heard(outputs))
    assert (first.pieces, second.pieces, third.pieces) == (1, 1, 3)
    assert bend(first) < 1 < bend(second) == bend(third)
    ended_unsettled = [alert("raised", 0, "uncertain"), alert("final", 0, "uncertain", released_s=5.1)]
    assert len(without_ticks(heard(ended_unsettled))) == 1


def test_only_ticks_below_the_threshold_and_no_tick_in_a_gap():
    """The statistic alone decides: a large shift without an alert is drift or soil."""
    quiet = heard([*points(0.0, 10.0, shift_ppm=50.0), Silence(10.0, 20.0, "unplugged", True), *points(20.0, 25.0)])
    assert [round(tone.start_s, 6) for tone in quiet] == [*range(10), *range(20, 25)]
    assert {(tone.from_hz, tone.to_hz, tone.peak) for tone in quiet} == {(1000.0, 1000.0, t.TICK_PEAK)}
    assert heard([Silence(0.0, 100.0, "unplugged", True)]) == []


@pytest.mark.parametrize("how", ["held", "frozen"])
def test_over_a_held_or_frozen_baseline_softer_tones_follow_the_shift(how):
    rising = [point(0.02 * k, shift_ppm=0.5 * 1.02**k, **{how: True}) for k in range(200)]
    tones = without_ticks(heard(rising))
    assert {(tone.peak, bend(tone)) for tone in tones} == {(t.LEVEL_PEAK, 1.5625)}
    for tone in tones:
        k = tone.start_s / 0.02
        mean = np.mean([0.5 * 1.02 ** (k - back) for back in range(6)])
        assert mean >= 1.0 and middle_hz(tone) == pytest.approx(pitch_hz(mean), rel=0.002)
    assert len(tones) > 3 and np.diff([tone.start_s for tone in tones]).min() >= 0.499
    assert {bend(tone) for tone in without_ticks(heard(points(0, 3, shift_ppm=-5.0, **{how: True})))} == {0.64}
    ticks = [tone.start_s for tone in heard(points(0, 3, shift_ppm=0.9, **{how: True}))]
    assert ticks == pytest.approx([0, 0.12, 1, 1.12, 2, 2.12])  # below the threshold: two ticks a second
    assert without_ticks(heard(points(0, 3, shift_ppm=5.0, **{how: True}), threshold_ppm=None)) == []  # warm-up
    assert without_ticks(heard(points(0, 3, shift_ppm=0.2, **{how: True}), threshold_ppm=0.1)) == []  # in the noise


def test_many_alerts_at_once_do_not_fall_behind():
    outputs = []
    for number in range(100):
        at_s = 5.0 + 0.1 * number
        outputs += [point(at_s), alert("raised", 0, number=number, raised_s=at_s)]
        outputs += [alert(stage, 1, number=number, raised_s=at_s, released_s=at_s) for stage in ("settled", "final")]
    tones = heard(outputs)
    assert all(after.start_s >= before.end_s for before, after in itertools.pairwise(tones))
    assert tones[-1].start_s < 5.0 + 10.0 + t.BENT_LATE_S + 0.3


@pytest.mark.parametrize("name", CAPTURES)
def test_the_tones_of_a_capture_never_overlap_and_stay_in_their_range(name):
    chain = Chain(defaults(), points=True)
    voice = Voice(lambda: chain.facts().threshold_ppm)
    tones = []
    for entry in read_capture(ROOT / "captures" / f"{name}.ccap.gz", Report()):
        tones += [tone for output in chain.feed(entry) for tone in voice.take(output)]
    assert len(tones) > 40
    for before, after in itertools.pairwise(tones):
        assert after.start_s >= before.end_s + t.PAUSE_S - 1e-9
    ends = [hz for tone in tones for hz in (tone.from_hz, tone.to_hz)]
    assert min(ends) >= 250 and max(ends) <= 2000
    assert max(tone.peak for tone in tones) <= 0.25


@pytest.mark.parametrize("pieces", [1, 3])
@pytest.mark.parametrize("hz", [(256.0, 400.0), (2000.0, 1280.0), (600.0, 600.0)])
def test_the_samples_of_a_tone(hz, pieces):
    tone = Tone(0.0, 0.18, *hz, 0.25, pieces)
    wave = np.array(samples(tone), dtype=float)
    assert len(wave) == round(0.18 * RATE_HZ)
    peak = math.floor(0.25 * FULL_SCALE)
    assert 0.95 * peak < np.abs(wave).max() <= peak
    # Nothing jumps: no step is larger than those of a sine of the highest frequency and of the edges.
    steepest = peak * (2 * math.pi * max(hz) + math.pi / (2 * FADE_S)) / RATE_HZ
    assert np.abs(np.diff(wave, prepend=0.0, append=0.0)).max() < 1.02 * steepest + 1
    silent = np.convolve(np.abs(wave) < 1, np.ones(200), "valid") == 200
    assert silent.any() == (pieces == 3)
    if pieces == 1:
        crossings = np.flatnonzero((wave[:-1] < 0) & (wave[1:] >= 0))
        found = RATE_HZ / np.diff(crossings)
        assert found[0] == pytest.approx(hz[0], rel=0.15) and found[-1] == pytest.approx(hz[1], rel=0.15)


def test_a_stream_keeps_the_distance_of_near_tones_and_drops_the_oldest_of_many():
    tick, later = Tone(7.0, 0.016, 1000, 1000, 0.02), Tone(7.12, 0.016, 1000, 1000, 0.02)
    stream = Stream()
    stream.block(1000)
    stream.add(tick)
    stream.add(later)
    wave = np.concatenate([stream.block(441) for _ in range(20)])
    loud = np.flatnonzero(np.abs(wave) > 300)
    assert loud[-1] - loud[0] == pytest.approx(RATE_HZ * 0.12, abs=200)
    for number in range(20):
        stream.add(Tone(8.0 + number, 0.1, 400 + number, 400 + number, 0.25))
    sounding = sum(np.abs(stream.block(441)).max() > 0 for _ in range(40))
    assert sounding * 441 == pytest.approx(3 * 0.1 * RATE_HZ, rel=0.15)  # the last three
