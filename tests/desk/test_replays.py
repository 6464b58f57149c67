"""One pass over a recording gives, for each threshold and rate of a grid, exactly what a replay of its own gives."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from statistics import median
from types import MappingProxyType

import pytest
from coilcount.capture.reader import Report
from coilcount.chain import Chain
from coilcount.desk.cache import Cache
from coilcount.desk.many import replay_many
from coilcount.desk.recordings import Recording, read_recording
from coilcount.desk.replays import replay_grid
from coilcount.errors import InputError
from coilcount.model import Alert, Hold, MarkMade, Notice, Point, Silence, StatusReading, Summary
from coilcount.settings import defaults
from desk_recordings import eventful, imported, learned_from, write_recording

CAPTURES = Path(__file__).parents[2] / "captures"
# Neighbours and far apart, and two that only differ in their last digits.
GRID = (2.0, 2.8, 3.3, 4.0, 4.8, 4.8000001, 8.0, 60.0)
RATES = (0.1, 1.0, 10.0)
PROFILE = (3.0,) * 12 + (1.0, 0.3) + (0.1,) * 11


def with_tracker(**values):
    settings = defaults()
    return replace(settings, tracker=MappingProxyType({**settings.tracker, **values}))


def alone(recording, settings, at):
    """The outputs of a chain with the threshold or the rate of one position."""
    asked = at.asked_per_minute
    one = settings.with_threshold(at.threshold) if asked is None else settings.with_false_alarms(asked)
    chain = Chain(one, points=True, follow_operator=False)
    outputs = [output for entry in read_recording(recording, Report()) for output in chain.feed(entry)]
    return outputs + chain.finish()


def finals(outputs, kind):
    return tuple(output for output in outputs if type(output) is kind and output.stage == "final")


def of(outputs, kind):
    return tuple(output for output in outputs if type(output) is kind)


def assert_equal_to_replays_of_their_own(recording, settings):
    grid = replay_grid(recording, settings, GRID, rates=RATES, series=True)
    fixed, asked = settings.fixed_threshold, settings.false_alarms_per_minute
    assert [at.threshold for at in grid.at] == sorted(at.threshold for at in grid.at)
    assert {at.threshold for at in grid.at if at.asked_per_minute is None} == {*GRID, *([fixed] if fixed else [])}
    rates = [at for at in grid.at if at.asked_per_minute is not None]
    assert [at.asked_per_minute for at in rates] == sorted({*RATES, *([asked] if asked else [])}, reverse=True)
    assert all(2.9 < at.threshold < 9.1 for at in rates)
    own = grid.at[grid.own]
    assert (own.asked_per_minute, own.threshold) == (asked, fixed or own.threshold)
    for at in grid.at:
        outputs = alone(recording, settings, at)
        assert at.alerts == finals(outputs, Alert)
        assert at.holds == finals(outputs, Hold)
    outputs = alone(recording, settings, own)
    assert (grid.summary,) == of(outputs, Summary)
    assert (grid.silences, grid.marks) == (of(outputs, Silence), of(outputs, MarkMade))
    assert grid.warnings == tuple(notice.text for notice in of(outputs, Notice) if notice.level == "warning")
    points = of(outputs, Point)
    for name in ("time_s", "frequency_hz", "baseline_hz", "shift_ppm", "statistic"):
        assert getattr(grid.series, name).tolist() == [getattr(point, name) for point in points]
    ready_s = [point.time_s for point in points if point.ready]
    for time_s in ready_s:
        assert any(start_s <= time_s <= end_s for start_s, end_s in grid.ready_spans)
    # All time from reading to reading counts, but for holes of half a second and more, which end a span.
    apart_s = median(after - before for before, after in pairwise(ready_s))
    steps_s = [after - before for before, after in pairwise(ready_s)]
    known_s = sum(step_s if step_s < 26 * apart_s else apart_s for step_s in steps_s) + apart_s
    assert grid.ready_minutes == pytest.approx(known_s / 60.0, abs=3 * apart_s / 60.0 * len(grid.ready_spans))
    return grid


@pytest.mark.parametrize("name", ["orchard-path", "mineral-soil", "quiet-bench", "warm-up-unplug"])
def test_captures(name):
    recording = Recording((CAPTURES / f"{name}.ccap.gz",))
    grid = assert_equal_to_replays_of_their_own(recording, defaults())
    assert len(grid.at[0].alerts) > len(grid.at[-1].alerts)


@pytest.mark.parametrize("settings", [with_tracker(noise_ppm_rthz=PROFILE), with_tracker(hold=False, threshold=3.3)])
def test_a_noise_profile_and_other_settings(settings):
    assert_equal_to_replays_of_their_own(Recording((CAPTURES / "mineral-soil.ccap.gz",)), settings)


@pytest.mark.parametrize("seed", range(4))
def test_recordings_with_everything_in_them(seed, tmp_path):
    recording = write_recording(tmp_path / "a.ccap", eventful(seed))
    grid = assert_equal_to_replays_of_their_own(recording, defaults())
    assert len({len(at.alerts) for at in grid.at}) > 4
    assert len({at.holds for at in grid.at}) > 1
    assert grid.silences and grid.marks and grid.warnings and len(grid.status) > 30
    assert grid.status[0] == StatusReading(pytest.approx(1.0, abs=0.03), pytest.approx(21.85), 5.0)


def test_a_recording_that_begins_with_what_was_learned_before(tmp_path):
    feed = imported(3)
    bare = write_recording(tmp_path / "bare.ccap", feed)
    feed[0] = replace(feed[0], learned=learned_from(imported(4)))
    recording = write_recording(tmp_path / "a.ccap", feed)
    grid = assert_equal_to_replays_of_their_own(recording, defaults())
    assert grid.header.learned == feed[0].learned
    assert replay_grid(bare, defaults(), GRID).at != replay_grid(recording, defaults(), GRID).at
    cache = Cache(tmp_path / "cache")
    assert cache.key(bare, defaults(), GRID) != cache.key(recording, defaults(), GRID)
    [first], [again] = (replay_many([recording], defaults(), GRID, cache=cache) for _ in range(2))
    assert first == again and cache.contents().files == 1


def test_imported_readings(tmp_path):
    grid = assert_equal_to_replays_of_their_own(write_recording(tmp_path / "a.ccap", imported(3)), defaults())
    assert [reading.temperature_c for reading in grid.status[:2]] == [pytest.approx(20.05), pytest.approx(20.1)]
    assert {reading.supply_v for reading in grid.status} == {None}


def test_readings_that_no_tracker_takes_give_no_alerts(tmp_path):
    feed = imported(3)
    feed[0] = replace(feed[0], interval_s=0.001)
    grid = replay_grid(write_recording(tmp_path / "a.ccap", feed), defaults(), GRID, series=True)
    assert [at.alerts for at in grid.at] == [()] * len(grid.at)
    assert (grid.ready_minutes, len(grid.series.time_s)) == (0.0, 0)
    assert grid.warnings[0].startswith("no alerts")


def test_the_thresholds_of_the_operator_are_ignored(tmp_path):
    """The recording sets 9.0 in its middle.  A replay that follows it has fewer alerts."""
    recording = write_recording(tmp_path / "a.ccap", eventful(2))
    chain = Chain(defaults())
    outputs = [output for entry in read_recording(recording, Report()) for output in chain.feed(entry)]
    grid = replay_grid(recording, defaults(), [])
    assert len(grid.at[0].alerts) > len(finals(outputs + chain.finish(), Alert))


def test_a_threshold_out_of_range():
    with pytest.raises(InputError, match=r"threshold is 1\.5"):
        replay_grid(Recording((CAPTURES / "quiet-bench.ccap.gz",)), defaults(), [1.5])
