"""Times of labels, where labels may lie, and proposals."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from board_lines import HEADER, Source, entries, passes
from coilcount.capture.labels import read_labels, write_labels
from coilcount.capture.reader import Report
from coilcount.capture.writer import CaptureWriter
from coilcount.chain import Chain
from coilcount.desk.labels import extent_of, label_warnings, marks_of, overlaps
from coilcount.desk.labels_propose import propose
from coilcount.desk.labels_times import Clock, start_of
from coilcount.desk.recordings import Recording, read_recording
from coilcount.errors import InputError
from coilcount.model import Header, Imported, Label, MarkMade, Operator
from coilcount.settings import defaults

CAPTURES = Path(__file__).parents[2] / "captures"
CLOCK = Clock(datetime(2026, 5, 1, 23, 30, tzinfo=UTC))


@pytest.mark.parametrize(
    ("text", "time_s"),
    [
        ("83.5", 83.5), ("83.5s", 83.5), ("0", 0.0), ("-1.5", -1.5), ("1:23.5", 83.5), ("1:02:03", 3723.0),
        ("90:00", 5400.0), ("23:30:05Z", 5.0), ("23:40Z", 600.0), ("00:30:05.25Z", 3605.25), ("23:29:59.5Z", -0.5),
        ("2026-05-02T00:30:00Z", 3600.0), ("2026-05-02 00:30:00z", 3600.0), ("01:30:05+02:00", 5.0),
        ("18:30:05-0500", 5.0), ("12:00:00Z", 45_000.0), ("2026-05-03T23:30:00Z", 172_800.0),
    ],
)  # fmt: skip
def test_a_time_from_the_start_or_of_the_day(text, time_s):
    assert CLOCK.seconds(text, "--at") == pytest.approx(time_s, abs=1e-6)


@pytest.mark.skipif(not hasattr(__import__("time"), "tzset"), reason="the zone can be set on POSIX only")
def test_local_time_is_that_of_this_computer(monkeypatch):
    import time

    monkeypatch.setenv("TZ", "XYZ-2")  # two hours ahead of UTC
    time.tzset()
    try:
        assert CLOCK.seconds("01:30:05local", "--at") == 5.0
        assert CLOCK.seconds("2026-05-02 02:30:05 local", "--at") == 3605.0
    finally:
        monkeypatch.undo()
        time.tzset()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("12:40:05", None),  # hours, minutes and seconds from the start
        ("noon", "--at is \"noon\".*12:40:05Z"),
        ("1:75", "--at is"), ("25:00:00Z", "no time of day"), ("2026-13-01T00:00Z", "no time of day"),
        ("12:00+20:00", "no offset"), ("", "--at is"), ("1e3", "--at is"),
    ],
)  # fmt: skip
def test_any_other_time_is_refused_in_words(text, message):
    if message is None:
        assert CLOCK.seconds(text, "--at") == 45_605.0
        return
    with pytest.raises(InputError, match=message):
        CLOCK.seconds(text, "--at")


def test_without_a_start_there_is_no_time_of_day():
    clock = Clock(start_of(""))
    assert clock.utc(1.0) is None and clock.words(1.0) == "" and clock.seconds("1:00", "--at") == 60.0
    with pytest.raises(InputError, match="does not say when it began"):
        clock.seconds("12:00Z", "--at")
    assert start_of("2026-05-01T08:00:00") is None  # of no zone


def write(path, written, header=HEADER, **options):
    with CaptureWriter(path, header, **options) as writer:
        for entry in written:
            writer.write(entry)
    return Recording(tuple(part.path for part in writer.parts))


def board(seconds=20.0, at_s=(8.0, 14.0)):
    return list(entries(Source(passes(list(at_s), 30.0), 0.3), seconds, start_host_s=3.0))


def test_the_clock_of_a_recording_counts_from_its_first_edge(tmp_path):
    recording = write(tmp_path / "a.ccap", board(), rotate_bytes=20_000)
    assert len(recording.parts) > 1
    extent = extent_of(recording)
    assert (extent.start_s, extent.end_s) == (0.0, pytest.approx(20.0, abs=0.01))
    # The recording began 3 s before the first edge.
    assert extent.clock.words(0.0) == "08:00:03Z"
    assert extent.clock.seconds("08:00:11Z", "--at") == pytest.approx(8.0, abs=0.01)
    assert 5.0 <= extent_of(recording, 5.0).end_s < 7.0  # little more is read than needed
    assert extent.holds(Label(0.0, 20.0, 8.0, "a")) and not extent.holds(Label(0.0, 20.1, 8.0, "a"))


def test_an_imported_log_lies_where_its_times_lie(tmp_path):
    rows = [Imported(3.0 + 0.1 * k, 25_000.0 + k % 3) for k in range(100)]
    header = Header("import", "2026-05-01T08:00:00Z", interval_s=0.1)
    extent = extent_of(write(tmp_path / "a.ccap", rows, header))
    assert (extent.start_s, extent.end_s) == (pytest.approx(2.95), pytest.approx(12.95))
    assert extent.clock.seconds("08:00:05Z", "--at") == 5.0


def test_unconfirmed_proposals_and_overlaps_are_mentioned(tmp_path):
    recording = Recording((tmp_path / "a.ccap",))
    assert label_warnings(recording) == []
    labels = [
        Label(1.0, 3.0, 2.0, "nail", "iron", "ferrous"),
        Label(2.5, 4.0, 3.5, "ring", "gold", "non-ferrous"),
        Label(3.0, 3.5, 3.2, "?"),
    ]
    write_labels(recording.labels, labels)
    proposals, overlap = label_warnings(recording)
    assert "1 proposal is not confirmed and no label" in proposals
    assert 'the labels "nail" at 2 s and "ring" at 3.5 s overlap' in overlap
    assert overlaps([labels[0], Label(3.0, 4.0, 3.5, "touching")]) == []
    recording.labels.write_text("start_s\n")
    assert label_warnings(recording) == []


def test_alerts_and_marks_become_proposals_that_no_label_covers(tmp_path):
    settings = defaults().with_threshold(8.0)  # only the passes, no noise
    written = board(24.0)
    places = {10.5: "ring, 8 cm", 21.0: "nothing heard"}  # the first is 2.5 s after the pass at 8 s
    for at_s, text in places.items():
        place = next(k for k, entry in enumerate(written) if entry.host_s >= 3.0 + at_s)
        written.insert(place, Operator(written[place - 1].host_s, "mark", text=text))
    recording = write(tmp_path / "a.ccap", written)
    chain = Chain(settings)
    outputs = [output for entry in read_recording(recording, Report()) for output in chain.feed(entry)]
    marks = marks_of(recording)
    assert marks == [output for output in outputs if type(output) is MarkMade]
    assert [mark.text for mark in marks] == list(places.values())
    found = propose(recording, settings, ())
    assert all(label.is_proposed and label.response == "" for label in found)
    assert [label.closest_s for label in found] == pytest.approx([8.0, 14.0, 19.5], abs=0.1)
    assert "suggests non-ferrous" in found[0].note and found[0].note.endswith("mark: ring, 8 cm")
    assert "suggests ferrous" in found[1].note
    assert found[2].note == "mark: nothing heard" and found[2].end_s == pytest.approx(21.0, abs=0.05)
    assert propose(recording, settings, found) == []
    confirmed = Label(7.5, 8.5, 8.0, "ring", "gold", "non-ferrous")
    assert propose(recording, settings, [confirmed]) == found[1:]


def test_proposals_find_the_truth_of_a_simulated_capture():
    recording = Recording((CAPTURES / "orchard-path.ccap.gz",))
    found = propose(recording, defaults().with_threshold(6.0), ())
    truth = [label for label in read_labels(recording.labels) if label.is_object]
    found_s = [label.closest_s for label in found]
    near = [label for label in truth if any(abs(label.closest_s - time_s) < 0.3 for time_s in found_s)]
    # One alert is none of the objects: the knock.
    assert (len(near), len(truth), len(found)) == (11, 11, 12)
