"""Memory stays small for any file: a million marks, one endless line, thousands of kinds of junk records."""

import contextlib
import gzip
import json
import os

import pytest
from capture_samples import HEADER, HELLO, interval_line, some_entries, write
from coilcount.capture.ends import Ends
from coilcount.capture.entries import encode
from coilcount.capture.reader import Report, read_capture
from coilcount.commands.cli import main
from coilcount.commands.kept import Kept
from coilcount.desk.survey import survey
from coilcount.face.progress import Progress
from coilcount.model import Alert, Gap, Line, MarkMade, Notice, Operator, Silence
from coilcount.readings.decode import OTHER_KINDS
from coilwire import frame, records


@pytest.mark.parametrize("count", [0, 1, 5, 6, 7, 1000])
def test_ends_keeps_the_first_and_the_last_items(count):
    ends = Ends(3)
    for i in range(count):
        ends.append(i)
    numbers = list(range(count))
    assert list(ends) == (numbers if count <= 6 else numbers[:3] + numbers[-3:])
    assert ends.left_out == max(0, count - 6)


def alert(number, stage="final"):
    times = {"raised_s": number, "settled_s": number, "released_s": number, "peak_s": number, "open": False}
    facts = {"sign": 1, "response": "non-ferrous", "reasons": (), "score": 9.0, "confidence": 0.9, "width_s": 0.2}
    return Alert(stage=stage, id=number, peak_shift_ppm=1.0, peak_shift_hz=0.03, **times, **facts)


def test_marks_do_not_crowd_alerts_out_of_a_table():
    kept = Kept()
    for i in range(600):
        kept.append(alert(i, "raised"))
        kept.append(alert(i))
        kept.append(Silence(i, i + 0.5, "unplugged", False))
        kept.append(Notice(None, "warning", "no row"))
        for k in range(5):
            kept.append(MarkMade(i + k / 5, "m"))
    assert [output.id for output in kept.outputs if type(output) is Alert] == list(range(600))
    assert len(kept.outputs) == 600 + 500 + 500
    assert "100 of 600 gaps, 2500 of 3000 marks" in kept.left_out
    assert "alerts" not in kept.left_out


def many_marks(count):
    """Half of the marks at the start, half at the end, gaps between."""
    entries = some_entries(60)
    marks = [Operator(1.3, "mark", text=f"number {i}") for i in range(count)]
    return [*entries, *marks[: count // 2], *[Gap(1.4, 1.3, "unplugged")] * count, *marks[count // 2 :]]


def test_replay_and_inspect_of_many_marks_and_gaps(tmp_path, capsys):
    path = write(tmp_path / "a.ccap", many_marks(2000))
    assert main(["replay", str(path)]) == 0
    out = capsys.readouterr().out
    assert out.count(" mark ") == 500
    assert "not shown: 1501 of 2001 marks" in out
    assert "number 0 " in out and "number 1999 " in out and "number 1000 " not in out
    assert main(["replay", str(path), "--json"]) == 0
    kinds = [json.loads(line)["kind"] for line in capsys.readouterr().out.splitlines()]
    assert kinds.count("mark") == 2001
    assert main(["inspect", str(path)]) == 0
    out = capsys.readouterr().out
    assert "1001 of marks" in out
    found = survey(path)
    assert len(found.marks) == 1000
    assert len(found.gaps) == 2  # nothing came between those at the end
    assert main(["inspect", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["left_out"] == {"marks": 1001, "operator": 1003, "gaps": 0}


def test_junk_that_passes_for_thousands_of_kinds_is_counted_together(tmp_path):
    letters = [chr(65 + i // 26) + chr(65 + i % 26) for i in range(676)]
    lines = [Line(0.01 * i, frame.encode(kind, (1,))[:-1]) for i, kind in enumerate(letters)]
    found = survey(write(tmp_path / "a.ccap", [*lines, Line(9.0, interval_line(0))]))
    assert len(found.kinds) == 102
    assert (found.kinds[OTHER_KINDS], found.kinds["I"]) == (676 - 100, 1)
    assert found.records == 1


def test_one_endless_line_in_a_gz_is_taken_in_pieces(tmp_path):
    """64 MB of one letter, compressed to 64 kB, is read in pieces of about 1 MiB.

    Each piece counts as a damaged line.  The lines before and after it are read.
    """
    path = tmp_path / "a.ccap.gz"
    before = encode(HEADER) + encode(Line(0.0, records.write(HELLO)[:-1]))
    path.write_bytes(gzip.compress(before + b"x" * (1 << 26) + b"\n" + encode(Line(0.02, interval_line(0)))))
    report = Report()
    assert sum(1 for _ in read_capture(path, report)) == 3
    assert 55 <= report.damaged <= 64
    assert report.share() == 1.0


def test_progress_is_a_line_on_a_terminal_after_a_while(tmp_path):
    master, slave = os.openpty()
    now = [0.0]

    def items():
        for i in range(5000):
            now[0] = i / 1000
            yield i

    with os.fdopen(slave, "w") as terminal:
        progress = Progress(terminal, lambda: now[0])
        assert list(progress.over("reading", items(), lambda number: number / 5000)) == list(range(5000))
    written = b""
    with contextlib.suppress(OSError):  # a pseudo-terminal raises it when its other end was closed
        while part := os.read(master, 10_000):
            written += part
    os.close(master)
    steps = [step.strip() for step in written.decode().split("\r")]
    assert steps == ["", *(f"coilcount: reading, {percent}% ..." for percent in (40, 60, 80)), "", ""]
    with open(tmp_path / "log", "w") as file:
        progress = Progress(file, lambda: now[0])
        now[0] = 100.0
        progress.say("reading")
        progress.clear()
    assert (tmp_path / "log").read_text() == ""


def test_replay_prints_only_the_first_of_many_warnings(tmp_path, capsys):
    entries = [*some_entries(60), *[Operator(1.3, f"unknown {i}") for i in range(500)]]
    assert main(["replay", str(write(tmp_path / "a.ccap", entries))]) == 0
    errors = capsys.readouterr().err.splitlines()
    assert len(errors) == 51 and "450 more like these" in errors[-1]
