"""Scoring by labels: each rule on a replay made by hand, and the whole on a simulated capture with its truth."""

from dataclasses import replace
from pathlib import Path

import pytest
from coilcount.desk.recordings import Recording
from coilcount.desk.replays import replay_grid
from coilcount.desk.scoring import answers, belongs, labels_of, score
from coilcount.model import Alert, AtThreshold, GridReplay, Header, Label, Silence, Summary
from coilcount.settings import defaults

CAPTURES = Path(__file__).parents[2] / "captures"


def alert(peak_s, score=6.0, response="ferrous", sign=-1, number=None):
    number = round(1000 * peak_s) if number is None else number
    return Alert("final", number, peak_s, peak_s, peak_s, peak_s, False, sign, response, (), score, 1.0, 0.02, 0.9, 0.2)


def label(closest_s, response="ferrous", half_s=0.2, name="nail"):
    return Label(closest_s - half_s, closest_s + half_s, closest_s, name, "steel", response, 5.0)


def replayed(alerts, spans=((4.0, 60.0),), silences=()):
    """A replay of one minute with one threshold; the statistic was there in `spans`."""
    summary = Summary("", 60.0, 3000, 0, 0, 0, 25e3, 0.2, len(alerts), "")
    at = AtThreshold(4.8, tuple(alerts), ())
    minutes = sum(end_s - start_s for start_s, end_s in spans) / 60
    header, silences = Header("serial", ""), tuple(silences)
    return GridReplay("a", ("a",), header, "", summary, minutes, (at,), silences, (), (), (), None, spans)


def judged(alerts, labels, **kinds):
    replay = replayed(alerts, **kinds)
    return score(replay, replay.at[0], labels)


def test_an_alert_belongs_within_0_3_s_or_within_a_longer_label():
    short, long = label(10.0, half_s=0.1), label(10.0, half_s=1.5)
    assert [belongs(alert(10 + off_s), short) for off_s in (-0.31, -0.3, 0.3, 0.31)] == [False, True, True, False]
    assert [belongs(alert(10 + off_s), long) for off_s in (-1.6, -1.5, 1.5, 1.6)] == [False, True, True, False]


def test_the_highest_alert_is_judged_and_the_others_are_no_false_alarms():
    made = judged([alert(9.9, 5.0), alert(10.1, 9.0), alert(30.0)], [label(10.0), label(20.0)])
    assert [a_pass.found for a_pass in made.passes] == [True, False]
    assert made.passes[0].alert.score == 9.0
    assert [false.peak_s for false in made.false_alarms] == [30.0]


def test_overlapping_passes_share_an_alert_and_no_second_counts_twice():
    made = judged([alert(10.1)], [label(10.0), label(10.2)])
    assert [a_pass.found for a_pass in made.passes] == [True, True] and not made.false_alarms
    # 56 s with a statistic, less 9.7 to 10.5 s
    assert made.minutes == pytest.approx((56 - 0.8) / 60)


def test_an_alert_at_a_label_without_an_object_is_a_false_alarm():
    made = judged([alert(10.0)], [label(10.0, response="", name="knock")])
    assert len(made.false_alarms) == 1 and not made.passes
    assert made.minutes == pytest.approx(56 / 60)


def test_an_alert_that_is_open_at_the_end_counts_like_any_other():
    still_open = replace(alert(59.9), open=True, released_s=None)
    assert judged([still_open], [label(59.9)]).passes[0].found
    assert len(judged([still_open], []).false_alarms) == 1


def test_no_label_file_is_not_the_same_as_labels_without_objects(tmp_path):
    unlabelled, empty = judged([alert(10.0)], None), judged([alert(10.0)], [])
    assert (unlabelled.labelled, unlabelled.false_alarms, unlabelled.minutes) == (False, (), 0.0)
    assert (empty.labelled, len(empty.false_alarms), empty.minutes) == (True, 1, pytest.approx(56 / 60))
    assert labels_of(Recording((tmp_path / "no.ccap",))) is None
    assert len(labels_of(Recording((CAPTURES / "orchard-path.ccap.gz",)))) == 12


def test_labels_where_nothing_could_be_found_are_left_out():
    """In the warm-up, in a gap, and after the end.  The minutes are those with a statistic away from the objects."""
    spans = ((4.0, 20.0), (34.0, 60.0))
    labels = [label(2.0), label(10.0), label(25.0), label(40.0, half_s=3.0), label(300.0)]
    made = judged([], labels, spans=spans)
    assert [left.closest_s for left in made.left_out] == [2.0, 25.0, 300.0]
    assert [a_pass.label.closest_s for a_pass in made.passes] == [10.0, 40.0]
    assert made.minutes == pytest.approx((16 - 0.6 + 26 - 6) / 60)
    # A replay that does not know its spans: the gap still counts.
    made = judged([], labels, spans=(), silences=[Silence(20.0, 30.0, "unplugged", False)])
    assert [left.closest_s for left in made.left_out] == [25.0, 300.0]
    assert made.minutes == 0.0  # never negative


def test_the_answers_of_found_passes():
    labels = [label(10.0 * k, response) for k, response in enumerate(["ferrous"] * 3 + ["non-ferrous", "uncertain"], 1)]
    alerts = [alert(10.0), alert(20.0, response="non-ferrous", sign=1), alert(30.0, response="uncertain", sign=-1),
              alert(40.0, response="uncertain", sign=-1), alert(50.0)]  # fmt: skip
    ferrous, other = answers(judged(alerts, labels).passes)
    assert (ferrous.found, ferrous.ferrous, ferrous.non_ferrous, ferrous.uncertain) == (3, 1, 1, 1)
    assert (ferrous.uncertain_right, ferrous.uncertain_wrong) == (1, 0)
    assert (other.found, other.uncertain, other.uncertain_right, other.uncertain_wrong) == (1, 1, 0, 1)


def test_a_simulated_capture_with_an_unplug():
    """By the truth of the simulation.  No statistic for 4.3 s after the start, 3.7 s of unplug and 2.3 s after it."""
    recording = Recording((CAPTURES / "warm-up-unplug.ccap.gz",))
    replay = replay_grid(recording, defaults(), ())
    made = score(replay, replay.at[0], labels_of(recording))
    assert made.passes and all(a_pass.found for a_pass in made.passes) and not made.left_out
    away_s = sum(max(0.6, a_pass.label.end_s - a_pass.label.start_s) for a_pass in made.passes)
    assert 60 * made.minutes == pytest.approx(55.0 - 4.3 - 3.7 - 2.3 - away_s, abs=0.1)
    assert sum(end_s - start_s for start_s, end_s in replay.ready_spans) / 60 == pytest.approx(
        replay.ready_minutes, abs=0.002
    )
