"""Files and folders become recordings: parts together, copies once, and everything odd in a warning."""

import gzip
import os
import shutil
from dataclasses import replace

import pytest
from board_lines import HEADER, Source, entries, passes
from coilcount.capture.reader import Report
from coilcount.capture.writer import CaptureWriter
from coilcount.desk.recordings import Recording, find_recordings, read_recording, recording_of
from coilcount.errors import InputError
from coilcount.model import End

LINES = list(entries(Source(passes([3.0], 30.0), 0.3), 5.0))


def write(path, header=HEADER, lines=LINES, **options):
    """Write a capture; returns the names of its parts."""
    with CaptureWriter(path, header, **options) as writer:
        for entry in lines:
            writer.write(entry)
    return [part.path.name for part in writer.parts]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def names(found):
    return [[str(part) for part in recording.parts] for recording in found]


def other(text):
    """A header of another recording."""
    return replace(HEADER, notes={"note": text})


def test_files_and_folders_become_recordings_in_their_order(folder):
    (folder / "day" / "deep").mkdir(parents=True)
    write("b.ccap", other("b"))
    write("day/a.ccap", other("a"))
    parts = write("day/deep/r.ccap", other("r"), rotate_bytes=7_000)
    assert len(parts) == 3
    (folder / "day" / "notes.txt").write_text("no capture")
    found = find_recordings(["b.ccap", "day"])
    assert names(found) == [["b.ccap"], ["day/a.ccap"], [f"day/deep/{name}" for name in parts]]
    assert found.warnings == () and len(found) == 3 and found[0].title == "b.ccap"
    assert found[2].name == "day/deep/r.ccap" and found[2].title == "day/deep/r.ccap and 2 more parts"
    assert str(found[2].labels) == "day/deep/r.labels.csv"
    report = Report()
    assert [entry for entry in read_recording(found[2], report) if type(entry) is not End][1:] == LINES
    assert report.whole


def test_parts_are_taken_together_compressed_too_and_in_any_order(folder):
    first, second, third = write("r.ccap", rotate_bytes=7_000)
    (folder / (second + ".gz")).write_bytes(gzip.compress((folder / second).read_bytes()))
    (folder / second).unlink()
    found = find_recordings([third, first, second + ".gz"])
    assert names(found) == [[first, second + ".gz", third]] and found.warnings == ()


def test_a_number_that_was_skipped_is_no_missing_part_and_a_part_that_is_gone_is(folder):
    (folder / "r.002.ccap").write_text("taken")
    assert write("r.ccap", rotate_bytes=7_000) == ["r.ccap", "r.003.ccap", "r.004.ccap"]
    (folder / "r.002.ccap").unlink()
    found = find_recordings([folder])
    assert len(found[0].parts) == 3 and found[0].missing == () and found.warnings == ()
    (folder / "r.003.ccap").unlink()
    found = find_recordings(["."])
    assert found[0].missing == (2, 3)
    assert found.warnings == ("r.ccap: part 2, 3 of this recording is not given",)
    found = find_recordings(["r.004.ccap"])
    assert found[0].missing == (1, 2, 3)
    assert "times count from the start of the first part that is given" in found.warnings[0]


def test_a_recording_that_goes_on_in_a_file_that_is_not_given_is_warned_of(folder):
    write("r.ccap", rotate_bytes=7_000)
    found = find_recordings(["r.ccap"])
    assert names(found) == [["r.ccap"]]
    assert found.warnings == ("r.ccap: the recording goes on in r.002.ccap, which is not given",)
    # A foreign capture of that name is none of its parts.
    write("s.ccap", other("s"))
    write("s.002.ccap", other("foreign"))
    assert find_recordings(["s.ccap"]).warnings == ()


def test_a_capture_given_twice_is_used_once(folder):
    write("a.ccap")
    os.symlink("a.ccap", "link.ccap")
    shutil.copy("a.ccap", "copy.ccap")
    (folder / "packed.ccap.gz").write_bytes(gzip.compress((folder / "a.ccap").read_bytes()))
    found = find_recordings(["a.ccap", "a.ccap", "."])
    assert names(found) == [["a.ccap"]]
    assert sorted(found.warnings) == [
        "a.ccap: given twice, used once",
        "copy.ccap: the same content as a.ccap; used once",
        "link.ccap: given twice, used once",
        "packed.ccap.gz: the same content as a.ccap; used once",
    ]


def test_captures_with_one_header_and_other_lines_are_both_used_with_a_warning(folder):
    """A sound copy of a damaged capture beside it: the program cannot know which of them is meant."""
    write("r.ccap", rotate_bytes=7_000)
    data = (folder / "r.002.ccap").read_bytes()
    (folder / "r.002-sound.ccap").write_bytes(data[:2000])
    found = find_recordings(["."])
    assert sorted(names(found)) == [["r.002-sound.ccap"], ["r.ccap", "r.002.ccap", "r.003.ccap"]]
    [text] = found.warnings
    assert text.startswith("r.002-sound.ccap: begins with the same header as r.002.ccap; if one is made from the other")


def test_files_that_are_no_captures_are_left_out_of_folders_and_reported_if_given(folder):
    write("good.ccap")
    (folder / "text.ccap").write_text("hello\n")
    (folder / "empty.ccap").write_text("")
    (folder / "newer.ccap").write_text('{"format":"coilcount-capture","schema":9}\n')
    found = find_recordings(["."])
    assert names(found) == [["good.ccap"]]
    assert found.warnings == (
        "empty.ccap: left out: the recording stopped before its first line was whole",
        "newer.ccap: left out: this capture has schema 9, and this version reads up to 1",
        "text.ccap: left out: this is not a coilcount capture",
    )
    for name, message in (("text.ccap", "not a coilcount capture"), ("missing.ccap", "no such file")):
        [recording] = find_recordings([name])
        with pytest.raises(InputError, match=message):
            next(read_recording(recording, Report()))


def test_a_folder_without_captures_is_an_error(folder):
    (folder / "empty").mkdir()
    with pytest.raises(InputError, match=r"the folder holds no captures.*empty"):
        find_recordings(["empty"])
    (folder / "empty" / "x.ccap").write_text("hello")
    with pytest.raises(InputError, match=r"no capture that can be read.*not a coilcount capture"):
        find_recordings(["empty"])


def test_a_damaged_capture_is_a_recording_too(folder):
    write("good.ccap", other("good"))
    write("torn.ccap", other("torn"))
    data = (folder / "torn.ccap").read_bytes()
    (folder / "torn.ccap").write_bytes(b"rubbish" + data[5:-40])
    found = find_recordings(["."])
    assert names(found) == [["good.ccap"], ["torn.ccap"]] and found.warnings == ()
    report = Report()
    assert len(list(read_recording(found[1], report))) > 200
    assert not report.whole and report.header_lost


@pytest.mark.parametrize("place", [0, 1, 2])
def test_a_part_whose_first_line_is_damaged_is_known_by_its_name(folder, place):
    parts = write("r.ccap", rotate_bytes=7_000)
    path = folder / parts[place]
    path.write_bytes(b"rubbish" + path.read_bytes()[7:])
    found = find_recordings(["."])
    assert names(found) == [parts] and found.warnings == () and found[0].missing == ()
    report = Report()
    assert [entry for entry in read_recording(found[0], report) if type(entry) is not End][1:] == LINES
    assert report.complaint() == f"{parts[place]}: its first line is missing or damaged, 1 damaged line"


def test_labels_at_the_wrong_place_are_mentioned(folder):
    write("r.ccap", rotate_bytes=7_000)
    for name in ("r.labels", "r.proposed", "r.002.labels", "lost.labels"):
        (folder / f"{name}.csv").write_text("")
    assert sorted(find_recordings(["."]).warnings) == [
        "lost.labels.csv: labels without a capture; they are not used",
        "r.002.labels.csv: not used; labels of a recording lie beside its first part, r.ccap",
    ]


def test_the_recording_of_a_part_has_all_parts(folder):
    parts = write("r.ccap", rotate_bytes=7_000)
    write("r2.ccap", other("another"))
    assert [path.name for path in recording_of("r.002.ccap").parts] == parts
    assert recording_of(folder / "r2.ccap") == Recording((folder / "r2.ccap",))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name are those of POSIX")
def test_a_pipe_is_not_looked_into(folder):
    os.mkfifo("pipe")
    os.mkfifo("other")
    assert names(find_recordings(["pipe", "other"])) == [["pipe"], ["other"]]
