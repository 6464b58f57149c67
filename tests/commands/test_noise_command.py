"""`coilcount noise` as its user sees it."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from capture_samples import HEADER, HELLO, interval_line
from coilcount.capture.labels import labels_path, read_labels
from coilcount.capture.reader import read_capture
from coilcount.capture.writer import CaptureWriter
from coilcount.commands.cli import main
from coilcount.desk import quiet
from coilcount.desk.noise_report import noise_report, noise_threshold
from coilcount.face.picture_noise import draw_noise
from coilcount.model import Gap, Line
from coilcount.settings import defaults, read_settings
from coilwire import records

CAPTURES = Path(__file__).parents[2] / "captures"
QUIET = CAPTURES / "quiet-bench.ccap.gz"


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """run(*words) -> (exit code, stdout, stderr), in an empty folder."""
    monkeypatch.chdir(tmp_path)

    def call(*words):
        code = main([str(word) for word in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        assert err.count("\n") <= 2
        return code, out, err

    return call


def test_a_quiet_capture(run):
    code, out, err = run("noise", QUIET, "--false-alarms-per-minute", "3")
    assert (code, err) == (0, "")
    assert max(len(line) for line in out.splitlines()[1:]) <= 80  # the first holds the file's name
    for word in ("(simulated)", "tau", "flicker FM", "ppm a minute", '"careful"', "3 false alarms a minute"):
        assert word in out


def test_json_output(run):
    code, out, _ = run("noise", QUIET, "--json")
    found = json.loads(out)
    assert code == 0
    assert (found["kind"], found["clean"], found["simulated"], found["segments"]) == ("noise", True, True, 1)
    assert found["noise_class"]["name"] == "careful"
    assert found["noise_class"]["ratio"] == pytest.approx(1, abs=0.1)
    threshold = found["threshold"]
    assert threshold["rate_low"] < threshold["false_alarms_per_minute"] < threshold["rate_high"]
    assert [row["m"] for row in found["stability"][:3]] == [1, 2, 4]
    rows = [row["oadev"] for row in found["stability"]]
    assert all(row["low"] < row["value"] < row["high"] for row in rows)


def test_the_saved_settings_are_used_and_nothing_is_overwritten(run, tmp_path):
    (tmp_path / "mine.toml").write_text("schema = 1\n[tracker]\nhold = false\n[live]\nsound = true\n")
    code, out, _ = run("noise", QUIET, "--settings", "mine.toml", "--save-settings", "out.toml", "--json")
    assert code == 0
    threshold = json.loads(out)["threshold"]
    saved = read_settings(tmp_path / "out.toml")
    assert saved.tracker["threshold"] == threshold["threshold"]
    learned = json.loads(out)["learned"]
    assert saved.tracker["scale_floor_ppm"] == learned["scale_floor_ppm"]
    assert saved.tracker["noise_ppm_rthz"] == tuple(band["ppm_rthz"] for band in learned["noise_ppm_rthz"])
    assert (saved.tracker["hold"], saved.live["sound"]) == (False, True)
    assert "simulated" in (tmp_path / "out.toml").read_text()
    # With these settings the tracker raises exactly the alerts that were reported.
    code, out, _ = run("replay", QUIET, "--settings", "out.toml", "--json")
    assert json.loads(out.splitlines()[-1])["alerts"] == threshold["alerts_here"]
    before = (tmp_path / "out.toml").read_bytes()
    assert run("noise", QUIET, "--quiet", "--save-settings", "again.toml") == (0, "", "")
    assert (tmp_path / "again.toml").exists()
    code, _, err = run("noise", QUIET, "--save-settings", "out.toml")
    assert code == 2
    assert "not overwritten" in err
    assert (tmp_path / "out.toml").read_bytes() == before


def test_a_recording_with_objects_is_refused_with_their_times(run, tmp_path):
    """The times in the error are those of the labels, which the simulation wrote as its truth."""
    capture = CAPTURES / "warm-up-unplug.ccap.gz"
    code, out, err = run("noise", capture, "--json", "--save-settings", "out.toml")
    assert code == 1
    assert "not clean" in err
    found = json.loads(out)
    assert (found["clean"], found["threshold"]) == (False, None)
    assert found["segments"] == 2 + found["miscounts"]
    times = [peak["time_s"] for peak in found["found"]]
    for label in read_labels(labels_path(capture)):
        assert min(abs(label.closest_s - time_s) for time_s in times) < 0.3
    assert not (tmp_path / "out.toml").exists()
    code, out, err = run("noise", CAPTURES / "orchard-path.ccap.gz")
    assert (code, out) == (1, "")


def test_pictures(run, tmp_path):
    code, out, _ = run("noise", QUIET, "--picture", "pictures")
    assert code == 0
    for name in ("stability", "noise", "threshold"):
        svg = (tmp_path / "pictures" / f"{name}.svg").read_text()
        assert "<svg" in svg
        assert (tmp_path / "pictures" / f"{name}.png").read_bytes().startswith(b"\x89PNG")
        assert f"{name}.png" in out
    # Nothing is overwritten, and the settings do not appear without the pictures.
    code, _, err = run("noise", QUIET, "--picture", "pictures", "--save-settings", "s.toml")
    assert code == 2 and "the picture exists (pictures/stability.svg)" in err and not (tmp_path / "s.toml").exists()


def test_a_picture_shows_the_numbers_of_the_report(tmp_path):
    """The lines that are drawn are the numbers of the report, in ppm."""
    import coilcount.face.picture_noise as pictures

    examined = quiet.examine(lambda: read_capture(QUIET), defaults(), str(QUIET))
    report = noise_report(str(QUIET), examined)
    report = replace(report, threshold=noise_threshold(examined, defaults(), 1.0))
    axes = pictures._stability(report).axes[0]
    drawn = axes.lines[0].get_ydata()
    assert drawn == pytest.approx([1e6 * row.oadev.value for row in report.stability])
    assert (axes.get_xscale(), axes.get_yscale()) == ("log", "log")
    assert "ppm" in axes.get_ylabel()
    assert "s" in axes.get_xlabel().split()
    drawn = pictures._noise(report).axes[0].lines[0]
    assert drawn.get_ydata() == pytest.approx([band.ppm_rthz for band in report.learned.noise_ppm_rthz])
    assert len(pictures._exceedance(report).axes[0].lines[1].get_ydata()) == len(report.threshold.curve)
    bare = replace(report, threshold=None, learned=replace(report.learned, noise_ppm_rthz=()))
    assert [path.name for path in draw_noise(bare, tmp_path / "one")] == ["stability.svg", "stability.png"]


def short(path, count, every=None):
    """A capture of `count` intervals of exactly 25 kHz, with a gap after every `every` intervals."""
    with CaptureWriter(path, HEADER) as writer:
        writer.write(Line(0.0, records.write(HELLO)[:-1]))
        for i in range(count):
            writer.write(Line(0.02 * (i + 1), interval_line(i)))
            if every and i % every == every - 1:
                writer.write(Gap(0.02 * (i + 1) + 0.005, 0.02 * (i + 1) + 0.001, "unplugged"))
    return path


def test_a_recording_that_is_too_short_is_one_error_line(run, tmp_path):
    code, out, err = run("noise", "absent.ccap")
    assert (code, out) == (2, "")
    assert "absent.ccap" in err
    code, out, err = run("noise", short(tmp_path / "short.ccap", 20))
    assert (code, out) == (2, "")
    assert "too few" in err
    code, out, err = run("noise", short(tmp_path / "gaps.ccap", 300, every=2))
    assert (code, out) == (2, "")
    assert "too few" in err
    (tmp_path / "no.ccap").write_text("hello\n")
    assert run("noise", "no.ccap")[0] == 2
    for rate in ("0", "nan", "x", "1000"):
        code, _, err = run("noise", QUIET, "--false-alarms-per-minute", rate)
        assert code == 2
        assert "--false-alarms-per-minute" in err
    code, _, err = run("noise", QUIET, "--false-alarms-per-minute", "59")
    assert code == 2
    assert "Ask for fewer" in err


def test_a_short_recording_says_which_rates_it_can_give(run, tmp_path):
    code, out, _ = run("noise", QUIET, "--false-alarms-per-minute", "0.1")
    assert code == 0
    assert "the recording is short" in out
    # 100 intervals make no threshold at all, and no settings.
    capture = short(tmp_path / "two.ccap", 100)
    code, out, _ = run("noise", capture)
    assert code == 0
    assert "no threshold" in out
    code, _, err = run("noise", capture, "--save-settings", "out.toml")
    assert code == 1
    assert "too short" in err
    assert not (tmp_path / "out.toml").exists()


def test_imported_readings(run, tmp_path):
    """The noise of a log from another counter is the white noise in it.  Unevenly spaced rows are refused."""
    rng = np.random.default_rng(7)
    hz = 25_000 * (1 + 2e-6 * rng.normal(size=3000))
    rows = [f"{0.05 * i:.4f},{frequency_hz:.6f}" for i, frequency_hz in enumerate(hz) if i != 1500]
    (tmp_path / "log.csv").write_text("time_s,frequency_hz\n" + "\n".join(rows) + "\n")
    assert run("import", "log.csv", "log.ccap")[0] == 0
    code, out, _ = run("noise", "log.ccap", "--json")
    found = json.loads(out)
    assert code == 0
    assert found["segments"] == 2
    first = found["stability"][0]
    assert first["noise"] == "white FM"
    assert first["oadev"]["low"] < 2e-6 < first["oadev"]["high"]
    shaken = [f"{0.05 * i + 0.02 * (i % 2):.4f},{frequency_hz:.6f}" for i, frequency_hz in enumerate(hz)]
    (tmp_path / "shaken.csv").write_text("time_s,frequency_hz\n" + "\n".join(shaken) + "\n")
    assert run("import", "shaken.csv", "shaken.ccap")[0] == 0
    code, _, err = run("noise", "shaken.ccap")
    assert code == 2
    assert "even spacing of" in err
