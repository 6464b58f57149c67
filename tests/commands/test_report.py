"""`coilcount report` as a command: what it writes, what it prints, and wrong input.  No browser is needed here."""

import gzip
import json
import shutil
from pathlib import Path

import pytest
from coilcount.commands.cli import main
from coilcount.desk.report import threshold_grid
from coilcount.settings import defaults

CAPTURES = Path(__file__).parents[2] / "captures"


@pytest.fixture
def short(tmp_path) -> Path:
    """The first 12 s of a capture, whole, with its labels and as few thresholds as the settings allow."""
    with gzip.open(CAPTURES / "orchard-path.ccap.gz", "rb") as file:
        lines = [next(file) for _ in range(620)]
    path = tmp_path / "short.ccap"
    path.write_bytes(b"".join(lines))
    shutil.copy(CAPTURES / "orchard-path.labels.csv", tmp_path / "short.labels.csv")
    return path


@pytest.fixture(autouse=True)
def few_thresholds(monkeypatch, tmp_path):
    monkeypatch.setenv("COILCOUNT_CACHE", str(tmp_path / "kept"))
    monkeypatch.setattr("coilcount.desk.report.POSITIONS_BELOW", 1)
    monkeypatch.setattr("coilcount.desk.report.POSITIONS_ABOVE", 2)


def run(capsys, *words) -> tuple[int, str, str]:
    status = main(["report", *map(str, words)])
    return status, *capsys.readouterr()


def test_json_says_what_was_written(short, tmp_path, capsys):
    out = tmp_path / "page.html"
    status, printed, _ = run(capsys, short, "--out", out, "--json")
    written = json.loads(printed)
    assert status == 0 and written["kind"] == "report" and written["file"] == str(out)
    assert written["bytes"] == out.stat().st_size
    (row,) = written["recordings"]
    assert row["file"] == str(short) and row["labels"] == 12 and row["asked_per_minute"] == 1.0
    # Four fixed thresholds, and the position of the rate.
    assert len(row["thresholds"]) == 5 and row["threshold"] in row["thresholds"] and row["alerts"] >= 2
    fixed = tmp_path / "fixed.toml"
    fixed.write_text("schema = 1\n[tracker]\nthreshold = 4.8\n")
    _, printed, _ = run(capsys, short, "--settings", fixed, "--out", tmp_path / "fixed.html", "--json")
    (row,) = json.loads(printed)["recordings"]
    assert (row["threshold"], row["asked_per_minute"]) == (4.8, None)
    assert row["thresholds"] == [4.57, 4.8, 5.04, 5.29]


def test_a_second_report_uses_the_results_that_were_kept(short, tmp_path, capsys):
    assert run(capsys, short, "--out", tmp_path / "one.html")[0] == 0
    assert any((tmp_path / "kept").rglob("*"))
    assert run(capsys, short, "--out", tmp_path / "two.html")[0] == 0
    assert (tmp_path / "one.html").read_bytes() == (tmp_path / "two.html").read_bytes()


def test_recordings_are_in_the_order_in_which_they_were_given(short, tmp_path, capsys):
    """They are replayed on all cores, and the shorter one ends first."""
    head = tmp_path / "b.ccap"
    head.write_bytes(b"".join(short.read_bytes().splitlines(keepends=True)[:400]))
    status, printed, _ = run(capsys, short, head, "--out", tmp_path / "page.html", "--json")
    assert status == 0
    assert [row["file"] for row in json.loads(printed)["recordings"]] == [str(short), str(head)]


def test_an_existing_page_is_never_overwritten(short, tmp_path, capsys):
    out = tmp_path / "page.html"
    out.write_text("mine")
    status, _, complaint = run(capsys, short, "--out", out)
    assert status == 2 and "is not overwritten" in complaint and out.read_text() == "mine"


@pytest.mark.parametrize(
    "words, complaint",
    [
        (["x.ccap"], "Give --out PAGE.html"),
        (["x.ccap", "--out", "p.html"], "there is no such file"),
        ([".", "--out", "p.html"], "holds no captures"),
        (["--out", "p.html"], "FILE"),
        (["wrong.ccap", "--out", "p.html"], "not a coilcount capture"),
        (["wrong.ccap", "--out", "nowhere/p.html"], "there is no such folder"),
    ],
)
def test_wrong_input_is_one_line_and_leaves_no_page(words, complaint, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    if "wrong.ccap" in words:
        (tmp_path / "wrong.ccap").write_text("hello\n")
    status, printed, said = run(capsys, *words)
    assert status == 2 and printed == "" and complaint in said and said.count("\n") == 1
    assert not (tmp_path / "p.html").exists()


def test_damaged_labels_make_a_warning_and_still_a_page(short, tmp_path, capsys):
    (tmp_path / "short.labels.csv").write_text("start_s,end_s\n1,2\n")
    status, printed, said = run(capsys, short, "--out", tmp_path / "page.html", "--json")
    assert status == 0 and "the labels are not used: no column" in said
    assert json.loads(printed)["recordings"][0]["labels"] is None


def test_labels_that_cannot_be_judged_and_overlapping_ones_are_reported(short, tmp_path, capsys):
    status, _, said = run(capsys, short, "--out", tmp_path / "page.html")
    assert status == 0 and "which are not judged: 10" in said
    head = (tmp_path / "short.labels.csv").read_text().splitlines()[0]
    (tmp_path / "short.labels.csv").write_text(f"{head}\n5,7,6,a,,,,\n6,8,7,b,,,,\n")
    assert "labels that overlap the one before: 1" in run(capsys, short, "--out", tmp_path / "two.html")[2]


def test_a_capture_without_readings_is_left_out_if_others_can_be_used(short, tmp_path, capsys):
    empty = tmp_path / "empty.ccap"
    empty.write_bytes(short.read_bytes().splitlines(keepends=True)[0])
    status, printed, said = run(capsys, empty, short, "--out", tmp_path / "page.html", "--json")
    assert status == 0 and "left out: the capture holds no readings" in said
    assert [row["file"] for row in json.loads(printed)["recordings"]] == [str(short)]
    status, _, said = run(capsys, empty, "--out", tmp_path / "none.html")
    assert status == 2 and "the capture holds no readings" in said
    other = tmp_path / "other.ccap"
    other.write_bytes(empty.read_bytes().replace(b"orchard", b"meadow"))
    status, _, said = run(capsys, empty, other, "--out", tmp_path / "none.html")
    assert status == 2 and "none of the recordings can be used" in said


def test_a_damaged_capture_is_used_as_far_as_it_is_sound(short, tmp_path, capsys):
    lines = short.read_bytes().splitlines(keepends=True)
    short.write_bytes(b"".join([*lines[:300], b'{"damage\n', *lines[300:]]))
    status, printed, said = run(capsys, short, "--out", tmp_path / "page.html", "--json")
    assert status == 0 and "the sound part was used" in said
    assert json.loads(printed)["recordings"][0]["whole"] is False


def test_the_slider_has_41_thresholds_around_that_of_the_settings(monkeypatch):
    monkeypatch.undo()
    fixed = defaults().with_threshold
    grid = threshold_grid(fixed(4.8))
    assert len(grid) == 41 and 4.8 in grid and grid == sorted(grid) and 2.6 < grid[0] < 2.8 and 18 < grid[-1] < 19
    assert threshold_grid(fixed(2.0))[0] == 2.0 and threshold_grid(fixed(100.0))[-1] == 100.0
    assert 4.313 in threshold_grid(fixed(4.313))
    # Around the thresholds of usual soil, if a rate is asked for: fewer false alarms have higher thresholds.
    few, many = (threshold_grid(defaults().with_false_alarms(rate)) for rate in (0.1, 10.0))
    assert few[12] > many[12] > 2.5
