"""The command `simulate`, its truth, and the captures of the repository."""

import gzip
import json
import re
from pathlib import Path

import numpy as np
import pytest
from coilcount.capture.labels import read_labels
from coilcount.capture.reader import Report, read_capture
from coilcount.commands.cli import main
from coilcount.model import Gap, Header
from coilcount.simulate.load import SCENE_DIR

CAPTURES = Path(__file__).parents[2] / "captures"
NAMES = ("mineral-soil", "orchard-path", "quiet-bench", "warm-up-unplug")

SCENE = """
schema = 1
title = "A test strip"
duration_s = 12
seed = 5
[ground]
chi = 2e-4
wobble_cm = 0.3
[[target]]
object = "crown cap"
shape = "flat-iron"
metal = "steel"
diameter_mm = 32
thickness_mm = 0.24
depth_cm = 5
at_s = 4
[[target]]
object = "bolt 60 mm"
shape = "rod"
metal = "steel"
diameter_mm = 10
length_mm = 60
depth_cm = 6
at_s = [7.5, 10.5]
[[unplug]]
start_s = 9.5
end_s = 11
[[knock]]
at_s = 6
size_ppm = 20
"""


def test_a_capture_and_its_truth(tmp_path, capsys):
    scene = tmp_path / "strip.toml"
    scene.write_text(SCENE)
    for name in ("one", "two"):
        assert main(["simulate", str(scene), str(tmp_path / f"{name}.ccap"), "--json"]) == 0
    summary = json.loads(capsys.readouterr().out.splitlines()[0])
    assert summary["simulated"] is True and summary["seed"] == 5 and summary["labels_written"] == 3

    one, two = (tmp_path / f"{name}.ccap" for name in ("one", "two"))
    assert one.read_bytes() == two.read_bytes()
    report = Report()
    entries = list(read_capture(one, report))
    assert report.whole and report.lines == summary["lines"]
    header = entries[0]
    assert isinstance(header, Header) and header.source == "simulate" and header.simulated
    assert header.start_utc == "2025-05-10T09:00:00Z" and header.notes["scene"] == "strip"
    assert sum(isinstance(entry, Gap) for entry in entries) == 1

    cap, knock, bolt = read_labels(tmp_path / "one.labels.csv")
    # the bolt's second pass falls into the unplug, so it has no label
    assert (cap.closest_s, knock.closest_s, bolt.closest_s) == (4, 6, 7.5)
    assert cap.response == "non-ferrous" and "iron object that raises the frequency" in cap.note
    assert bolt.response == "ferrous" and bolt.note.startswith("peak -")
    assert knock.object == "knock" and knock.response == ""
    assert cap.start_s < cap.closest_s < cap.end_s and cap.depth_cm == 5


def test_another_seed_is_another_capture_with_the_same_objects(tmp_path, capsys):
    scene = tmp_path / "strip.toml"
    scene.write_text(SCENE)
    for seed in ("1", "2"):
        words = [str(scene), str(tmp_path / f"{seed}.ccap"), "--seed", seed, "--interval-ms", "10", "--quiet"]
        assert main(["simulate", *words]) == 0
    assert capsys.readouterr().out == ""
    assert (tmp_path / "1.ccap").read_bytes() != (tmp_path / "2.ccap").read_bytes()
    assert (tmp_path / "1.labels.csv").read_bytes() == (tmp_path / "2.labels.csv").read_bytes()


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["qiet-bench", "a.ccap"], 'Did you mean "quiet-bench"?'),
        (["quiet-bench", "a.ccap", "--interval-ms", "200"], "interval of 200 ms"),
        (["quiet-bench", "a.ccap", "--seed", "-1"], "--seed is -1"),
        (["quiet-bench", "a.ccap.gz"], "without compression"),
        (["quiet-bench", "there.ccap"], "the file exists"),
        (["quiet-bench", "labelled.ccap"], "labelled.labels.csv"),
        (["quiet-bench", "no/folder/a.ccap"], "no such folder"),
    ],
)
def test_wrong_input_is_one_line(tmp_path, monkeypatch, capsys, words, line):
    monkeypatch.chdir(tmp_path)
    Path("there.ccap").write_text("mine")
    Path("labelled.labels.csv").write_text("mine")
    assert main(["simulate", *words]) == 2
    error = capsys.readouterr().err
    assert line in error and error.count("\n") == 1
    assert Path("there.ccap").read_text() == Path("labelled.labels.csv").read_text() == "mine"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["labelled.labels.csv", "there.ccap"]


def numbers(line: str) -> list[int]:
    """The fields of the interval record in a capture's line, without its CRC."""
    return [int(field) for field in re.search(r"@I,([\d,]+)\*", line)[1].split(",")]


def test_a_capture_of_the_repository_can_be_made_again(tmp_path):
    name = "warm-up-unplug"
    assert main(["simulate", str(CAPTURES / f"{name}.toml"), str(tmp_path / f"{name}.ccap"), "--quiet"]) == 0
    made = (tmp_path / f"{name}.ccap").read_text().splitlines()
    kept = gzip.decompress((CAPTURES / f"{name}.ccap.gz").read_bytes()).decode().splitlines()
    assert len(made) == len(kept)
    # On the processor that made it, every byte is the same.  Another processor may round the last digit of a sine
    # differently.  That moves a few timestamps by single ticks, and never adds or removes a record.
    other = [(numbers(ours), numbers(theirs)) for ours, theirs in zip(made, kept, strict=True) if ours != theirs]
    assert len(other) <= len(kept) // 100
    assert all(len(ours) == len(theirs) and max(map(abs, np.subtract(ours, theirs))) <= 2 for ours, theirs in other)
    # d' is a sum over hundreds of thousands of floats: on another processor its last printed digit may differ
    kept, fresh = (read_labels(folder / f"{name}.labels.csv") for folder in (CAPTURES, tmp_path))
    assert [(label.closest_s, label.object, label.response) for label in kept] == [
        (label.closest_s, label.object, label.response) for label in fresh
    ]


@pytest.mark.parametrize("name", NAMES)
def test_the_captures_are_whole_and_say_that_they_are_simulated(name):
    report = Report()
    header = next(iter(list(read_capture(CAPTURES / f"{name}.ccap.gz", report))))
    assert report.whole and header.simulated
    assert read_labels(CAPTURES / f"{name}.labels.csv") or name == "quiet-bench"
    assert (CAPTURES / f"{name}.toml").read_bytes() == (SCENE_DIR / f"{name}.toml").read_bytes()
