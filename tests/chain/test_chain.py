"""From entries to outputs: one path for live and replay."""

import itertools
from dataclasses import replace

import pytest
from board_lines import HEADER, Source, entries, hello, line, passes
from coilcount.capture.reader import read_capture
from coilcount.capture.writer import CaptureWriter
from coilcount.chain import Chain
from coilcount.model import Alert, Gap, Hold, Imported, Line, MarkMade, Notice, Operator, Point, Silence, Summary
from coilcount.settings import defaults
from coilwire import frame, records

SETTINGS = defaults()


def run(feed, **options):
    chain = Chain(SETTINGS, **options)
    outputs = [output for entry in feed for output in chain.feed(entry)]
    return outputs + chain.finish()


def of(outputs, *types):
    return [output for output in outputs if isinstance(output, types)]


def final(outputs):
    return [alert for alert in of(outputs, Alert) if alert.stage == "final"]


def strong(outputs):
    """The certain alerts of passes of 30 ppm, a hundred times the noise, without those by chance."""
    return [alert for alert in final(outputs) if alert.response != "uncertain" and alert.score > 20]


def sweep(seconds=24.0, at=(8.0, 12.0, 16.0, 20.0), ppm=30.0):
    return [HEADER, *entries(Source(passes(list(at), ppm), noise_ppm=0.3), seconds)]


def test_passes_become_alerts_with_their_sign():
    outputs = run(sweep())
    alerts = strong(outputs)
    assert [round(alert.peak_s) for alert in alerts] == [8, 12, 16, 20]
    assert [alert.sign for alert in alerts] == [1, -1, 1, -1]
    for alert in alerts:
        # The height is a mean over the top of the pass, so it is a little less than 30 ppm.
        assert 20 < abs(alert.peak_shift_ppm) < 32
        assert alert.peak_shift_hz == pytest.approx(25_000e-6 * alert.peak_shift_ppm, rel=1e-3)
    stages = [alert.stage for alert in of(outputs, Alert) if alert.id == alerts[0].id]
    assert stages == ["raised", "settled", "released", "final"]


def test_the_summary_has_the_figures_of_the_source():
    source = Source(lambda t: 25_012.0, noise_ppm=0.4)
    summary = run([HEADER, *entries(source, 60.0)])[-1]
    assert isinstance(summary, Summary)
    assert (summary.records, summary.lost, summary.damaged, summary.dropped) == (3000, 0, 0, 0)
    assert summary.duration_s == pytest.approx(60.0, abs=0.001)
    assert summary.baseline_hz == pytest.approx(25_012.0, rel=1e-7)
    # Each frequency lasts one interval.  A reading goes from mean to mean, over half of two of them: 1 / sqrt(2).
    assert summary.noise_ppm == pytest.approx(0.4 / 2**0.5, rel=0.05)
    assert summary.start_utc == HEADER.start_utc
    assert summary.settings_sha256 == SETTINGS.sha256()


def test_replay_of_a_recording_equals_live(tmp_path):
    feed = sweep()
    feed[500:500] = [Operator(feed[500].host_s + 1e-7, "freeze")]
    feed[700:700] = [Operator(feed[700].host_s, "thaw"), Operator(feed[700].host_s, "threshold", 6.0)]
    feed[900:900] = [Gap(feed[900].host_s, feed[890].host_s, "unplugged"), Operator(9.87654321, "mark", text="gate")]
    with CaptureWriter(tmp_path / "a.ccap", HEADER) as writer:
        for entry in feed[1:]:
            writer.write(entry)
    live = run(feed, points=True)
    assert run(read_capture(tmp_path / "a.ccap"), points=True) == live
    assert len(of(live, Silence)) == 1
    assert of(live, MarkMade)[0].text == "gate"
    assert any(point.frozen for point in of(live, Point))


def test_a_freeze_while_frozen_sets_the_baseline_again_also_in_a_replay(tmp_path):
    feed = [HEADER, *entries(Source(lambda t: 25_000.0 + 0.01 * t, noise_ppm=0.1), 16.0)]  # 0.4 ppm a second
    once = [*feed[:400], Operator(feed[399].host_s, "freeze"), *feed[400:]]
    twice = [*once[:700], Operator(once[699].host_s, "freeze"), *once[700:]]
    with CaptureWriter(tmp_path / "a.ccap", HEADER) as writer:
        for entry in twice[1:]:
            writer.write(entry)
    live = run(twice, points=True)
    assert run(read_capture(tmp_path / "a.ccap"), points=True) == live
    left = [point for point in of(run(once, points=True), Point) if point.frozen][-1]
    again = [point for point in of(live, Point) if point.frozen][-1]
    assert left.frequency_hz == again.frequency_hz and abs(again.shift_ppm) < abs(left.shift_ppm) - 0.2


def test_the_shift_for_a_reliable_auto_hold_is_known_after_four_seconds():
    chain = Chain(SETTINGS)
    known = []
    for entry in [HEADER, *entries(Source(lambda t: 25_000.0, noise_ppm=2.0), 30.0)]:
        chain.feed(entry)
        known.append(chain.facts().hold_from_ppm)
    assert all(value is None for value in known[:200]) and all(known[250:])
    # A block is the mean of five readings, each the mean of two neighbours: sqrt(4.5) / 5 of 2 ppm.  A step is the
    # difference of two blocks.  The running median varies around its sigma.
    sigma_ppm = 2.0 * 4.5**0.5 / 5 * 2**0.5
    assert sum(known[500:]) / len(known[500:]) == pytest.approx(8 * sigma_ppm, rel=0.2)
    quiet = Chain(SETTINGS)
    for entry in [HEADER, *entries(Source(lambda t: 25_000.0, noise_ppm=0.1), 10.0)]:
        quiet.feed(entry)
    assert quiet.facts().hold_from_ppm == SETTINGS.tracker["hold_least_ppm"]


@pytest.mark.parametrize("size", [1, 7, 4096])
def test_any_chunks_of_bytes_give_the_same(size):
    feed = sweep(13.0, (8.0,))
    stream = b"".join(entry.data + b"\n" for entry in feed[1:])
    splitter = frame.LineSplitter()
    chunks = [stream[at : at + size] for at in range(0, len(stream), size)]
    lines = [Line(0.0, data) for chunk in chunks for data in splitter.feed(chunk)]
    assert run([HEADER, *lines]) == run([HEADER, *(Line(0.0, entry.data) for entry in feed[1:])])


def test_intervals_wait_for_the_hello():
    feed = sweep()
    late = [HEADER, *feed[2:300], feed[1], *feed[300:]]
    assert run(late) == run(feed)


def test_without_any_hello_the_header_or_the_usual_clock_is_used():
    feed = sweep()
    with_hello = replace(HEADER, board=hello()._asdict())
    assert run([with_hello, *feed[2:]]) == run(feed)
    outputs = run([HEADER, *feed[2:]])
    assert "no hello" in of(outputs, Notice)[0].text
    assert final(outputs) == final(run(feed))


def test_a_header_whose_board_is_no_hello_is_ignored():
    feed = sweep()
    for board in ({"name": 5}, {**hello()._asdict(), "clock_hz": "fast"}, {**hello()._asdict(), "boot": -1}):
        assert run([replace(HEADER, board=board), *feed[1:]]) == run(feed)


def test_a_restart_is_a_gap_and_time_goes_on():
    first = list(entries(Source(passes([8.0], 30.0), 0.3), 12.0))
    second = list(entries(Source(passes([8.0], 30.0), 0.3, seed=2, first_tick=77), 12.0, start_host_s=15.0, boot=2))
    outputs = run([HEADER, *first, *second])
    [silence] = of(outputs, Silence)
    assert (silence.reason, silence.bridged) == ("board restarted", True)
    assert silence.start_s == pytest.approx(12.0, abs=0.001)
    assert silence.end_s == pytest.approx(15.0, abs=0.001)
    alerts = strong(outputs)
    assert [round(alert.peak_s) for alert in alerts] == [8, 23]
    assert alerts[1].id > alerts[0].id
    assert outputs[-1].lost == 0


def test_an_unplug_gives_its_reason_and_ends_the_open_alert():
    first = list(entries(Source(passes([8.0], 30.0), 0.3), 8.1))
    second = list(entries(Source(lambda t: 25_000.0, 0.3, first_tick=77), 5.0, start_host_s=10.0, boot=2))
    gap = Gap(9.9, 8.2, "unplugged")
    outputs = run([HEADER, *first, gap, *second])
    assert [silence.reason for silence in of(outputs, Silence)] == ["unplugged"]
    assert not final(outputs)[0].open
    assert final(outputs)[0].released_s == pytest.approx(8.1, abs=0.03)
    unended = run([HEADER, *first, gap])
    assert of(unended, Silence)[0].end_s == pytest.approx(9.9, abs=0.02)


def test_the_end_of_the_entries_leaves_an_alert_open():
    outputs = run(sweep(8.1, (8.0,)))
    assert (final(outputs)[0].open, final(outputs)[0].released_s) == (True, None)


def test_a_stopped_oscillator_is_reported_once():
    source = Source(lambda t: 25_000.0, 0.3)
    feed = [HEADER, *entries(source, 5.0)]
    source.time_s += 2.0
    source.sequence += 100  # the source counts on while it stands still
    feed += [line(5.1, records.Stopped(5100, 50)), line(6.1, records.Stopped(6100, 1050))]
    after = source.interval()
    feed += [line(7.03, after._replace(sequence=after.sequence - 100))]
    outputs = run(feed)
    assert [notice.text for notice in of(outputs, Notice)] == ["the oscillator has stopped: no edge for 50 ms"]
    [silence] = of(outputs, Silence)
    assert (silence.reason, silence.bridged) == ("oscillator stopped", False)
    assert silence.end_s - silence.start_s == pytest.approx(2.0, abs=0.001)
    assert outputs[-1].lost == 0


def test_lost_damaged_unknown_and_dropped_are_counted():
    feed = sweep()
    body = b"ZZ,1"
    feed[100] = Line(feed[100].host_s, feed[100].data[:-1] + b"?")
    del feed[200:203]
    feed.insert(300, Line(feed[300].host_s, b"@" + body + b"*" + frame.crc_text(body)))
    feed.insert(301, Line(feed[300].host_s, b"Traceback (most recent call last):"))
    feed.append(line(24.01, records.Status(24_010, 0, 0, 9, 3, 0, 0)))
    chain = Chain(SETTINGS)
    for entry in feed:
        chain.feed(entry)
    summary = chain.finish()[-1]
    assert (summary.damaged, summary.lost, summary.dropped) == (1, 4, 3)
    assert (chain.link.text, chain.link.kinds["ZZ"]) == (1, 1)
    assert chain.link.rate_hz == pytest.approx(50, rel=0.1)


def test_many_lost_records_are_a_gap_on_the_boards_clock():
    feed = sweep(40.0, (30.0,))
    del feed[500:1000]
    outputs = run(feed)
    [silence] = of(outputs, Silence)
    assert (silence.reason, silence.bridged) == ("records lost", False)
    assert [round(alert.peak_s) for alert in strong(outputs)] == [30]
    assert outputs[-1].lost > 400


def test_the_recorded_threshold_is_used_unless_the_user_asks_for_another():
    feed = sweep(ppm=6.0)
    feed[3:3] = [Operator(0.05, "threshold", 100.0), Operator(0.06, "threshold", 0.0)]
    outputs = run(feed)
    assert final(outputs) == []
    assert "0.0" in of(outputs, Notice)[0].text
    assert len(final(run(feed, follow_operator=False))) >= 4


def test_the_recorded_rate_ends_a_fixed_threshold_and_is_used_unless_the_user_asks_for_another():
    feed = sweep(ppm=6.0)
    feed[3:3] = [Operator(0.05, "threshold", 100.0), Operator(0.06, "false_alarms", 3.0)]
    chain = Chain(SETTINGS)
    outputs = [output for entry in feed for output in chain.feed(entry)] + chain.finish()
    assert len(final(outputs)) >= 4
    assert (chain.false_alarms_per_minute, outputs[-1].false_alarms_per_minute) == (3.0, 3.0)
    assert 3.0 <= chain.thresholds.least < 4.5
    assert run(feed, follow_operator=False)[-1].false_alarms_per_minute == 1.0
    for value in (0.0, 1e6):
        feed[4] = Operator(0.06, "false_alarms", value)
        outputs = run(feed)
        assert "a recorded rate of false alarms is not used" in of(outputs, Notice)[0].text
        assert outputs[-1].false_alarms_per_minute is None  # the fixed threshold goes on


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"protocol": 9}, "protocol 9"), ({"firmware": "9.8.1"}, "firmware 9.8.1"), ({"clock_hz": 0}, "no clock")],
)
def test_a_board_that_does_not_fit_is_reported_once_and_still_read(changes, words):
    feed = sweep()
    other = line(0.0, hello(**changes))
    outputs = run([HEADER, other, other, *feed[2:]])
    texts = [notice.text for notice in of(outputs, Notice) if words in notice.text]
    assert len(texts) == 1 or words == "no clock"
    assert final(outputs) == final(run(feed))


def test_another_interval_is_another_tracker_with_ids_that_go_on():
    first = list(entries(Source(passes([8.0], 30.0), 0.3), 12.0))
    source = Source(passes([8.0], 30.0), 0.3, interval_ms=10, first_tick=77)
    second = [line(15.0, hello(2, interval_ms=10))]
    second += [line(15.0 + k / 100, source.interval()) for k in range(1, 1200)]
    alerts = strong(run([HEADER, *first, *second]))
    assert [round(alert.peak_s) for alert in alerts] == [8, 23]
    assert alerts[0].id < alerts[1].id


def test_buttons_and_logs():
    feed = sweep(5.0, ())
    feed[150:150] = [line(feed[150].host_s, records.Mark(3000, 4)), line(3.0, records.Log(3000, "flash was damaged"))]
    outputs = run(feed)
    assert of(outputs, MarkMade) == [MarkMade(pytest.approx(2.95, abs=0.05), "button, mark 4")]
    assert of(outputs, Notice)[0].text == "the board says: flash was damaged"


def test_settling_is_true_while_the_sign_settles():
    chain = Chain(SETTINGS)
    settling = []
    for entry in sweep(10.0, (8.0,)):
        chain.feed(entry)
        settling.append(chain.settling)
    assert 5 <= sum(settling) <= 15  # 0.2 s


def test_every_interval_but_the_first_gives_a_point():
    feed = sweep(10.0, (8.0,))
    lost = [entry for k, entry in enumerate(feed) if k not in (300, 301)]
    # At first the repair takes the step for a miscount.  It holds the readings back, and they come later.
    steep = [HEADER, *entries(Source(lambda t: 25_000.0 + 20.0 * (t > 5.0)), 10.0)]
    for case, missing in ((feed, 0), (lost, 2), (steep, 0)):
        outputs = run(case, points=True)
        points = of(outputs, Point)
        assert len(points) == outputs[-1].records - 1 == 499 - missing
        steps = {round(later.time_s - earlier.time_s, 3) for earlier, later in itertools.pairwise(points)}
        assert steps == ({0.02, 0.06} if missing else {0.02})
    assert points[-1].ready


def test_the_uncertainty_of_a_point_is_the_noise():
    points = of(run(sweep(), points=True), Point)
    assert points[-1].uncertainty_ppm == pytest.approx(0.3 / 2**0.5, rel=0.4)


# ---------------------------------------------------------------- imported readings


def imported(frequency, count, spacing_s=0.02):
    return [Imported(round(k * spacing_s, 6), frequency(k * spacing_s)) for k in range(count)]


IMPORT = replace(HEADER, source="import", interval_s=0.02)


def test_imported_readings_give_the_same_alerts():
    readings = imported(passes([8.0, 12.0], 30.0), 1000)
    outputs = run([IMPORT, *readings], points=True)
    alerts = strong(outputs)
    assert [(round(alert.peak_s), alert.sign) for alert in alerts] == [(8, 1), (12, -1)]
    assert [point.time_s for point in of(outputs, Point)] == [reading.time_s for reading in readings]
    assert run([replace(IMPORT, interval_s=None), *readings], points=True) == outputs
    assert outputs[-1].duration_s == pytest.approx(20.0)


def test_imported_readings_with_holes():
    readings = imported(lambda t: 25_000.0 + (t * 50) % 2 * 0.01, 2000)
    del readings[100:103], readings[1000:1500]
    readings.insert(50, Imported(0.1, 25_000.0))
    readings.insert(60, replace(readings[60], frequency_hz=-1.0))
    outputs = run([IMPORT, *readings])
    [silence] = of(outputs, Silence)
    assert (silence.reason, round(silence.end_s - silence.start_s)) == ("no readings", 10)
    assert (outputs[-1].lost, outputs[-1].damaged, outputs[-1].records) == (3, 2, 1497)


@pytest.mark.parametrize("spacing_s", [0.0001, 90.0])
def test_readings_too_near_or_too_far_apart_are_counted_and_give_a_warning_and_no_alerts(spacing_s):
    outputs = run([replace(IMPORT, interval_s=spacing_s), *imported(lambda t: 25_000.0, 3, spacing_s)])
    [notice] = of(outputs, Notice)
    assert notice.text.startswith("no alerts: the tracker takes readings 2 ms to 60 s apart")
    assert (outputs[-1].records, outputs[-1].baseline_hz) == (3, 25_000.0)


@pytest.mark.parametrize("interval_ms", [0, 1, 65_535])
def test_intervals_that_no_tracker_takes_are_counted_and_give_a_warning_and_no_alerts(interval_ms):
    feed = sweep()
    feed[1] = line(0.0, hello(interval_ms=interval_ms))
    outputs = run(feed, points=True)
    [notice] = of(outputs, Notice)
    assert "no alerts" in notice.text
    assert (outputs[-1].records, outputs[-1].lost) == (1200, 0)
    assert outputs[-1].duration_s == pytest.approx(24.0, abs=0.001 * max(21, interval_ms))


def test_very_few_entries_give_a_summary_and_no_alerts():
    for feed in ([], [HEADER], [IMPORT, Imported(0.0, 25_000.0)], [HEADER, Imported(3.0, 25_000.0)], sweep()[:3]):
        outputs = run(feed, points=True)
        assert isinstance(outputs[-1], Summary)
        assert not of(outputs, Alert, Hold)
    assert outputs[-1].records == 1
