"""`replay --picture`: the files, the labels beside a capture, wrong input."""

import shutil
from pathlib import Path

import pytest
from board_lines import HEADER
from coilcount.capture.writer import CaptureWriter
from coilcount.commands.cli import main
from coilcount.commands.replay_picture import picture_name
from coilcount.face import picture_replay

CAPTURES = Path(__file__).resolve().parents[2] / "captures"


@pytest.fixture(autouse=True)
def no_settings_of_mine(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def test_one_svg_and_one_png_for_each_capture_with_what_the_replay_found(capsys, monkeypatch):
    drawn = []
    draw = picture_replay.draw_replay

    def watch(trace, folder, name):
        drawn.append(trace)
        return draw(trace, folder, name)

    monkeypatch.setattr(picture_replay, "draw_replay", watch)
    files = [str(CAPTURES / f"{name}.ccap.gz") for name in ("orchard-path", "warm-up-unplug")]
    assert main(["replay", *files, "--picture", "new/pictures"]) == 0
    table = capsys.readouterr().out
    assert sorted(path.name for path in Path("new/pictures").iterdir()) == [
        "orchard-path.png", "orchard-path.svg", "warm-up-unplug.png", "warm-up-unplug.svg",
    ]  # fmt: skip
    first, second = drawn
    assert first.simulated and len(first.alerts) == 13 and "13 alerts" in table
    assert len(first.labels) == 12 and first.end_s == pytest.approx(60.0, abs=0.01)
    assert len(first.time_s) + len(first.warm_up_s) == 2999
    assert len(second.silences) == 1 and len(second.marks) == 1
    # Behind the gap the baseline is that of before until it is known again: it is not drawn.
    baselines = [value for value in second.baseline_hz if value == value]
    assert max(baselines) - min(baselines) < 0.002e-3 * 1e6
    assert main(["replay", files[0], "--picture", "new/pictures"]) == 2
    assert "the picture exists (new/pictures/orchard-path.svg)" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["a.ccap.gz", "b/a.ccap.gz"], 'two recordings would give pictures of the name "a"'),
        (["missing.ccap"], "no such file"),
        (["empty.ccap"], "no readings"),
        (["wrong.ccap.gz"], "no column start_s"),
    ],
)
def test_wrong_input_is_one_line_and_draws_nothing(arguments, words, capsys):
    Path("b").mkdir()
    copies = {"quiet-bench": "a.ccap.gz", "orchard-path": "b/a.ccap.gz", "mineral-soil": "wrong.ccap.gz"}
    for capture, copy in copies.items():
        shutil.copy(CAPTURES / f"{capture}.ccap.gz", copy)
    Path("wrong.labels.csv").write_text("time\n1\n")
    with CaptureWriter("empty.ccap", HEADER):
        pass
    assert main(["replay", *arguments, "--picture", "pictures", "--quiet"]) == 2
    error = capsys.readouterr().err
    assert words in error and error.count("\n") == 1
    assert not Path("pictures").exists()


def test_names():
    assert [picture_name(file) for file in ("a/x.ccap", "x.ccap.gz", "x.2.ccap", "log")] == ["x", "x", "x.2", "log"]
