"""`coilcount label` as its user meets it: times, numbers, proposals, wrong input."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from board_lines import HEADER, Source, entries, passes
from coilcount.capture.labels import COLUMNS, LabelFile, read_labels
from coilcount.capture.writer import CaptureWriter
from coilcount.commands.cli import main
from coilcount.model import Label, Operator

RING = ["--object", "ring", "--metal", "gold", "--response", "non-ferrous", "--depth-cm", "8", "--note", "5 g, new"]
NAIL = ["--object", "nail", "--response", "ferrous"]


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder with the capture a.ccap: passes at 8 and 14 s, 20 s long, and a mark at 8.9 s."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    lines = list(entries(Source(passes([8.0, 14.0], 30.0), 0.3), 20.0))
    lines.insert(455, Operator(lines[454].host_s, "mark", text="ring"))
    write(tmp_path / "a.ccap", lines)
    return tmp_path


def write(path, lines, header=HEADER, **options):
    with CaptureWriter(path, header, **options) as writer:
        for entry in lines:
            writer.write(entry)
    return [part.path.name for part in writer.parts]


def labels(name="a"):
    return LabelFile(f"{name}.labels.csv").labels


def fails(capsys, *words):
    """The message of a command that must end with exit code 2 and one line."""
    capsys.readouterr()
    assert main(["label", *words]) == 2
    captured = capsys.readouterr()
    assert captured.out == "" and captured.err.count("\n") == 1
    return captured.err


def test_add_by_seconds_and_by_the_time_of_day(capsys):
    before = Path("a.ccap").read_bytes()
    assert main(["label", "add", "a.ccap", "--at", "8", *RING]) == 0
    out = capsys.readouterr().out
    assert out.splitlines() == [
        "1 label added; now 1 label in a.labels.csv",
        "1: 0:08.0 (08:00:08Z), 0:07.0 to 0:09.0, ring, gold, non-ferrous, 8 cm, 5 g, new",
    ]
    assert main(["label", "add", "a.ccap", "--at", "10:00:14+02:00", "--from", "0:13.5", *NAIL, "--quiet"]) == 0
    assert main(["label", "add", "a.ccap", "--from", "17", "--to", "18", "--nothing", "--note", "wet soil"]) == 0
    first, second, third = labels()
    assert first == Label(7.0, 9.0, 8.0, "ring", "gold", "non-ferrous", 8.0, "5 g, new")
    assert (second.start_s, second.object, second.response) == (13.5, "nail", "ferrous")
    assert second.closest_s == pytest.approx(14.0, abs=0.01) and second.end_s == second.closest_s + 1.0
    assert third == Label(17.0, 18.0, 17.5, "nothing", note="wet soil")
    assert Path("a.ccap").read_bytes() == before


def test_nothing_without_a_time_is_the_whole_recording_and_ends_are_cut(capsys):
    assert main(["label", "add", "a.ccap", "--nothing"]) == 0
    assert main(["label", "add", "a.ccap", "--at", "19.8", *NAIL]) == 0
    whole, last = labels()
    assert (whole.start_s, whole.object) == (0.0, "nothing") and whole.end_s == pytest.approx(20.0, abs=0.01)
    assert last.start_s == 18.8 and last.end_s == whole.end_s
    assert "overlap" in capsys.readouterr().err


def test_list_is_a_table_or_json(capsys):
    main(["label", "add", "a.ccap", "--at", "8", *RING])
    main(["label", "add", "a.ccap", "--at", "12", "--nothing", "--object", "knock"])
    capsys.readouterr()
    assert main(["label", "list", "a.ccap"]) == 0
    head, columns, first, second = [line.split() for line in capsys.readouterr().out.splitlines()]
    assert head == ["2", "labels", "in", "a.labels.csv"]
    assert columns == ["no.", "closest", "UTC", "span", "object", "metal", "response", "depth", "note"]
    assert first[:8] == ["1", "0:08.0", "08:00:08Z", "0:07.0", "to", "0:09.0", "ring", "gold"]
    assert first[8:] == ["non-ferrous", "8", "cm", "5", "g,", "new"]
    assert second[6:] == ["knock", "nothing", "to", "find"]
    assert main(["label", "list", "a.ccap", "--json"]) == 0
    found = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert list(found[0]) == ["kind", "file", "labels", "number", "closest_utc", "proposed", *COLUMNS]
    assert (found[0]["number"], found[0]["closest_utc"][:19], found[0]["depth_cm"]) == (1, "2026-05-01T08:00:08", 8.0)
    assert (found[1]["response"], found[1]["depth_cm"], found[1]["proposed"]) == ("", None, False)


def test_change_and_remove_by_number(capsys):
    for at in ("14", "8", "11"):
        main(["label", "add", "a.ccap", "--at", at, *NAIL])
    assert main(["label", "change", "a.ccap", "2-3", "--response", "uncertain", "--depth-cm", "5"]) == 0
    assert [(label.response, label.depth_cm) for label in labels()] == [
        ("ferrous", None), ("uncertain", 5.0), ("uncertain", 5.0),
    ]  # fmt: skip
    assert main(["label", "change", "a.ccap", "2", "--at", "12.5", "--depth-cm", "none"]) == 0
    assert labels()[1] == Label(11.5, 13.5, 12.5, "nail", "", "uncertain")
    assert main(["label", "change", "a.ccap", "2", "--from", "12", "--to", "12.2"]) == 0
    assert labels()[1] == Label(12.0, 12.2, 12.1, "nail", "", "uncertain")
    assert main(["label", "change", "a.ccap", "1", "--nothing"]) == 0
    assert labels()[0] == Label(7.0, 9.0, 8.0, "nothing")
    assert main(["label", "remove", "a.ccap", "1", "3"]) == 0
    assert [label.closest_s for label in labels()] == [12.1]
    assert main(["label", "remove", "a.ccap", "1", "--json"]) == 0
    done = capsys.readouterr()
    assert json.loads(done.out.splitlines()[-1])["removed"] == 1 and "no label is left" in done.err
    assert len(read_labels("a.labels.csv.bak")) == 1


def test_proposals_of_a_damaged_capture_say_so(capsys):
    Path("torn.ccap").write_bytes(Path("a.ccap").read_bytes()[:-40])
    assert main(["label", "propose", "torn.ccap"]) == 0
    done = capsys.readouterr()
    assert "2 new proposals" in done.out
    assert "torn.ccap: warning: it stops in the middle of a line" in done.err and "the sound part was used" in done.err


def test_proposals_are_confirmed_or_removed_and_never_count_before(capsys):
    assert main(["label", "propose", "a.ccap"]) == 0
    assert "2 new proposals; now 2 proposals in a.proposed.csv" in capsys.readouterr().out
    assert not Path("a.labels.csv").exists() and len(labels()) == 2
    assert main(["label", "propose", "a.ccap", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["proposed_now"] == 0
    assert "neither object nor response" in fails(capsys, "change", "a.ccap", "1", "--object", "ring")
    assert "neither object nor response" in fails(capsys, "change", "a.ccap", "1", "--response", "ferrous")
    assert main(["label", "change", "a.ccap", "1", "--from", "7.5", "--note", "ring?"]) == 0  # still a proposal
    assert not Path("a.labels.csv").exists()
    assert main(["label", "change", "a.ccap", "1", *RING]) == 0
    [ring] = read_labels("a.labels.csv")
    assert (ring.object, ring.start_s, ring.note) == ("ring", 7.5, "5 g, new")
    assert main(["label", "remove", "a.ccap", "proposed"]) == 0
    assert labels() == [ring]
    assert "no proposals" in fails(capsys, "remove", "a.ccap", "proposed")


def test_import_takes_another_file_or_the_marks(capsys):
    main(["label", "add", "a.ccap", "--at", "8", *RING])
    Path("other.csv").write_text(Path("a.labels.csv").read_text() + "13.5,14.5,14,nail,iron,ferrous,,\n")
    assert main(["label", "import", "a.ccap", "other.csv"]) == 0
    assert "1 label added, 1 that was there already; now 2 labels in a.labels.csv" in capsys.readouterr().out
    Path("exact.csv").write_text(",".join(COLUMNS) + "\n1.00049,2,1.5,nail,iron,ferrous,,\n")
    for count in (1, 0):  # numbers are kept as they are, so that a second import finds them
        assert main(["label", "import", "a.ccap", "exact.csv", "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["added"] == count
    assert main(["label", "remove", "a.ccap", "1", "--quiet"]) == 0
    assert main(["label", "import", "a.ccap", "--marks", "--response", "non-ferrous"]) == 0
    mark = labels()[1]
    assert mark.object == "ring" and mark.closest_s == pytest.approx(8.92, abs=0.03)
    Path("late.csv").write_text(Path("a.labels.csv").read_text() + "30,31,30.5,nail,iron,ferrous,,\n")
    before = Path("a.labels.csv").read_text()
    assert "lies outside the recording" in fails(capsys, "import", "a.ccap", "late.csv")
    assert Path("a.labels.csv").read_text() == before


def test_a_part_of_a_recording_leads_to_the_labels_of_the_whole(here, capsys):
    lines = list(entries(Source(passes([8.0], 30.0), 0.3), 20.0))
    parts = write(here / "r.ccap", lines, replace(HEADER, notes={"note": "r"}), rotate_bytes=20_000)
    assert len(parts) > 3
    assert main(["label", "add", "r.002.ccap", "--at", "19", *NAIL]) == 0
    captured = capsys.readouterr()
    assert "are one recording: its labels are in r.labels.csv, times from its start" in captured.err
    assert labels("r") == [Label(18.0, 20.0, 19.0, "nail", "", "ferrous")]
    assert main(["label", "list", "."]) == 0
    captured = capsys.readouterr()
    assert "a.ccap: no labels" in captured.out and "1 label in r.labels.csv" in captured.out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["list", "a.ccap"], "there are no labels (a.labels.csv)"),
        (["list", "b.ccap"], "there is no such file (b.ccap)"),
        (["add", "b.ccap", "--at", "8", *NAIL], "no such file (b.ccap)"),
        (["add", "a.ccap", *NAIL], "no time is given. Give --at, or --from and --to"),
        (["add", "a.ccap", "--from", "8", *NAIL], "only one end"),
        (["add", "a.ccap", "--at", "8", "--from", "9", *NAIL], "from 9 s to 9 s with its closest time at 8 s"),
        (["add", "a.ccap", "--at", "8", "--object", "nail"], "no response is given"),
        (["add", "a.ccap", "--at", "8", "--response", "ferrous"], "no object is given"),
        (["add", "a.ccap", "--at", "8", "--object", "nail", "--response", "ferous"], 'Did you mean "ferrous"?'),
        (["add", "a.ccap", "--at", "8", "--object", "nail", "--response", ""], "Give --nothing"),
        (["add", "a.ccap", "--at", "8", "--object", "?", "--response", "ferrous"], "kept for proposals"),
        (["add", "a.ccap", "--at", "8", *NAIL, "--depth-cm", "deep"], '--depth-cm is "deep"'),
        (["add", "a.ccap", "--at", "8", *NAIL, "--nothing"], "--nothing and --response contradict one another"),
        (["add", "a.ccap", "--at", "25", *NAIL], "lies outside the recording, 0:00.0 to 0:20.0 (08:00:00Z to"),
        (["add", "a.ccap", "--at", "19.9", "--to", "21", *NAIL], "lies outside the recording"),
        (["add", "a.ccap", "--at", "noon", *NAIL], '--at is "noon"'),
        (["add", "a.ccap", "8", *NAIL], '"8" is one word too many'),
        (["add", "a.ccap", "--marks", *NAIL], "label add has no --marks"),
        (["change", "a.ccap", "1", *NAIL], "there are no labels (a.labels.csv)"),
        (["change", "a.ccap", *NAIL], "no number is given"),
        (["remove", "a.ccap", "1"], "there are no labels (a.labels.csv)"),
        (["import", "a.ccap"], "takes a label file or --marks"),
        (["import", "a.ccap", "none.csv"], "there are no labels (none.csv)"),
        (["import", "a.ccap", "a.ccap"], "not CSV text"),
        (["propose", "a.ccap", "--threshold", "low"], '--threshold is "low"'),
        (["propose", "a.ccap", "--at", "8"], "label propose has no --at"),
    ],
)
def test_wrong_input_is_one_line_and_changes_nothing(words, message, capsys):
    assert message in fails(capsys, *words)
    assert labels() == []


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["change", "a.ccap", "2", *NAIL], "there is no label 2 (a.labels.csv). It has labels 1 to 1"),
        (["change", "a.ccap", "0", *NAIL], "there is no label 0"),
        (["change", "a.ccap", "first", *NAIL], '"first" is no number of a label'),
        (["change", "a.ccap", "1"], "nothing to change is given"),
        (["change", "a.ccap", "1", "--at", "30"], "lies outside the recording"),
        (["change", "a.ccap", "1", "--object", ""], "would have no object"),
        (["remove", "a.ccap", "1-2"], "there is no label 1-2"),
    ],
)
def test_a_wrong_number_or_change_is_one_line_and_changes_nothing(words, message, capsys):
    main(["label", "add", "a.ccap", "--at", "8", *RING])
    before = labels()
    assert message in fails(capsys, *words)
    assert labels() == before


def test_a_wrong_label_file_among_good_ones_is_reported_and_the_rest_is_listed(here, capsys):
    main(["label", "add", "a.ccap", "--at", "8", *RING])
    write(here / "b.ccap", list(entries(Source(passes([8.0], 30.0), 0.3), 12.0)), replace(HEADER, notes={"n": "b"}))
    (here / "b.labels.csv").write_text("start_s;end_s\n")
    capsys.readouterr()
    assert main(["label", "list", "."]) == 2
    captured = capsys.readouterr()
    assert "no column closest_s" in captured.err and "ring" in captured.out
    # The same for proposals: those of c.ccap come after the wrong file.
    write(here / "c.ccap", list(entries(Source(passes([8.0], 30.0), 0.3), 12.0)), replace(HEADER, notes={"n": "c"}))
    assert main(["label", "propose", "."]) == 2
    captured = capsys.readouterr()
    assert "no column closest_s" in captured.err and "1 proposal in c.proposed.csv" in captured.out
    (here / "b.labels.csv").write_text(",".join(COLUMNS) + "\n1,99,5,ring,gold,non-ferrous,,\n")
    assert main(["label", "list", "b.ccap"]) == 0
    assert "label 1 lies outside the recording, 0:00.0 to 0:12.0" in capsys.readouterr().err
