"""The report page in a real browser shows what tracker and scoring computed, at every position of the slider."""

import json
import random
from pathlib import Path

import pytest
from coilcount.commands.cli import main
from coilcount.desk.recordings import find_recordings
from coilcount.desk.replays import replay_grid
from coilcount.desk.report import figures, page_recording
from coilcount.desk.scoring import score
from coilcount.face.page_data import shift_step_ppm
from coilcount.model import AtThreshold, Label
from coilcount.settings import defaults
from page_samples import alert, page_of

CAPTURES = Path(__file__).parents[2] / "captures"
THRESHOLDS = (3.2, 4.1, 6.3, 9.0, 14.5)


@pytest.fixture(scope="module", params=["orchard-path", "warm-up-unplug"])
def recording(request):
    (found,) = find_recordings([str(CAPTURES / f"{request.param}.ccap.gz")])
    return page_recording(found, defaults(), replay_grid(found, defaults(), THRESHOLDS, series=True))


def replayed(file: str, at: AtThreshold, capsys) -> list[dict]:
    """What the real command prints."""
    asked = at.asked_per_minute
    level = ["--threshold", str(at.threshold)] if asked is None else ["--false-alarms", str(asked)]
    assert main(["replay", file, "--json", *level]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_each_position_shows_what_replay_gives_at_its_threshold(recording, show, capsys):
    page = show(recording)
    for position, at in enumerate(recording.replay.at):
        page.to_threshold(position)
        printed = replayed(recording.replay.name, at, capsys)
        alerts = [one for one in printed if one["kind"] == "alert"]
        state = page.state()
        assert state["threshold"] == at.threshold
        shown = page.page.locator("#threshold-value").inner_text()
        assert ("at most 1 false alarm a minute" in shown) == (position == recording.own)
        assert page.figure("alerts") == str(len(alerts)) == str(printed[-1]["alerts"])
        columns = ("peak_s", "sign", "response", "confidence", "seen")
        in_page = [[one[key] for key in ("peak", "sign", "response", "confidence", "seen")] for one in state["alerts"]]
        assert in_page == [[one[key] for key in columns] for one in alerts]
        assert [[one["score"], one["ppm"]] for one in state["alerts"]] == [
            [round(one["score"], 3), round(one["peak_shift_ppm"], 3)] for one in alerts
        ]
        judged = figures(score(recording.replay, at, recording.labels))
        assert page.figure("passes") == f"{judged.found} of {judged.passes}"
        assert page.figure("falseAlarms") == str(judged.false_alarms)
        low, high = page.figure("passesInterval").replace(" %", "").split(" to ")
        assert (int(low), int(high)) == (round(100 * judged.found_low), round(100 * judged.found_high))
        assert float(page.figure("rate")) == pytest.approx(judged.false_alarms / judged.minutes, rel=0.05)


def test_the_page_decodes_every_sample_and_its_time(recording, show):
    page = show(recording)
    series = recording.replay.series
    for name, values, step in (
        ("shift", series.shift_ppm, shift_step_ppm(recording.replay.summary.noise_ppm)),
        ("statistic", series.statistic, 0.05),
    ):
        decoded = page.page.evaluate(f"Array.from(coilcountReport.app.recording.{name}.values)")
        assert [round(value / step) for value in decoded] == [round(value / step) for value in values]
        assert max(abs(one - other) for one, other in zip(decoded, values, strict=True)) <= 0.501 * step
    times = page.page.evaluate(
        "Array.from({length: coilcountReport.app.recording.count}, (_, i) => "
        "coilcountReport.app.recording.timeline.timeOf(i))"
    )
    # A counting interval ends at an edge, up to 40 us late; the page spaces the readings of a run evenly.
    assert max(abs(one - other) for one, other in zip(times, series.time_s, strict=True)) < 1e-3


def test_a_shift_too_wide_for_two_bytes_is_decoded(show):
    shifts = [0.0, 0.01, -31_000.0, 250_000.0, -250_000.0, 0.02]
    page = show(page_of(shifts, statistic=lambda ppm: 0.0))
    assert page.page.evaluate("coilcountReport.app.recording.shift.values.length") == 6
    decoded = page.page.evaluate("Array.from(coilcountReport.app.recording.shift.values)")
    assert decoded == pytest.approx(shifts, abs=0.0101)


def test_labels_changed_in_the_page_are_judged_as_python_judges_them(show):
    """Random alerts and labels, with edges that touch; the page's own matching rule against desk/scoring.py."""
    rng = random.Random(4)
    alerts = [alert(n + 1, round(rng.uniform(0, 60), 2), rng.choice((1, -1))) for n in range(40)]
    made = page_of([0.0] * 3000, [(4.0, alerts[:30]), (4.8, alerts), (6.0, alerts[::3])], labels=[])
    page = show(made)
    for _ in range(30):
        labels = []
        for _ in range(rng.randrange(12)):
            start, closest, end = sorted(round(rng.uniform(0, 60), 1) for _ in range(3))
            if rng.random() < 0.3:  # the edge of the span, and of the nearness, exactly at a peak
                closest = end = max(start, rng.choice(alerts).peak_s - rng.choice((0.0, 0.3)))
            labels.append(Label(start, end, closest, "x", response=rng.choice(("ferrous", "non-ferrous", ""))))
        sent = [
            {"start": one.start_s, "end": one.end_s, "closest": one.closest_s, "response": one.response}
            for one in labels
        ]
        for position, at in enumerate(made.replay.at):
            got = page.page.evaluate(
                """([position, labels]) => {
                    const { app, figuresOf } = coilcountReport;
                    const peaks = app.recording.at[position].alerts.map((i) => app.recording.alerts.peak[i]);
                    return figuresOf(app.recording, peaks, labels);
                }""",
                [position, sent],
            )
            judged = figures(score(made.replay, at, labels))
            assert (got["passes"], got["found"], got["falseAlarms"]) == (
                judged.passes,
                judged.found,
                judged.false_alarms,
            )
            assert got["minutes"] == pytest.approx(judged.minutes)
            if judged.minutes > 0:
                wanted = (judged.found_low, judged.found_high, judged.rate_low, judged.rate_high)
                assert [got[key] for key in ("foundLow", "foundHigh", "rateLow", "rateHigh")] == pytest.approx(
                    wanted, rel=1e-3, abs=1e-3
                )


def test_repeated_passes_over_one_place_are_one_find(show):
    row = [alert(1, 10.0), alert(2, 12.0, seen=2), alert(3, 14.0, seen=3), alert(4, 20.0, sign=-1)]
    page = show(page_of([0.0] * 1500, [(4.0, row), (4.8, row[:2])]))
    page.to_threshold(0)
    page.settle()
    rows = page.page.locator("#finds-body tr")
    assert rows.count() == 2 and page.figure("finds") == "2"
    assert "seen 3 times" in rows.nth(0).inner_text() and "once" in rows.nth(1).inner_text()
    page.page.locator("#zoom-in").click(click_count=2)
    rows.nth(1).get_by_role("button", name="0:20.0", exact=True).click()
    start, end = page.state("window")
    assert start < 20.0 < end and end - start <= 12 and page.state("picked")["peak"] == 20.0


def test_a_recording_with_no_labels_has_no_false_alarms_to_show(show):
    page = show(page_of([0.0] * 500, labels=None))
    assert page.figure("passes") == page.figure("falseAlarms") == page.figure("rate") == "no labels"
    assert page.page.locator("#curve-none").is_visible() and not page.page.locator("#curve").is_visible()
    only_nothing = show(page_of([0.0] * 500, [(4.0, [alert(1, 5.0)]), (4.8, [])], labels=[Label(1, 2, 1.5, "soil")]))
    only_nothing.to_threshold(0)
    assert only_nothing.figure("passes") == "none labelled" and only_nothing.figure("falseAlarms") == "1"


def test_recordings_of_one_page_are_chosen_by_name(show):
    page = show(page_of([0.0] * 500, name="one.ccap"), page_of([5.0] * 250, name="<b>two</b>.ccap"))
    page.page.locator("#recording").select_option(label="<b>two</b>.ccap")
    page.page.wait_for_selector("html[data-recording='1']")
    assert page.page.locator("h1").inner_text() == "<b>two</b>.ccap"
    assert page.state("threshold") == 4.8
