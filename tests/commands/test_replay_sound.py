"""`replay --sound`: the WAV file is measured, and its times are compared with those of `replay --json`."""

import gzip
import json
import math
import wave
from pathlib import Path

import numpy as np
import pytest
from board_lines import HEADER, Source, entries, passes
from coilcount.capture.length import about_length_s
from coilcount.capture.reader import Report, read_capture
from coilcount.capture.writer import CaptureWriter
from coilcount.chain import Chain
from coilcount.commands.cli import main
from coilcount.face import tone as t
from coilcount.face import tone_samples
from coilcount.model import Alert, Gap, Header, Operator
from coilcount.settings import defaults

CAPTURES = Path(__file__).resolve().parents[2] / "captures"
RATE = 22_050
FULL = 32_767


@pytest.fixture(scope="module")
def capture(tmp_path_factory):
    """A rise and a fall, a gap of 2 s, a weak rise, and a rest over a target with a frozen baseline."""
    path = tmp_path_factory.mktemp("sound") / "a.ccap"
    first = list(entries(Source(passes([8.0, 12.0], 30.0), 0.3), 15.0))

    def resting(at_s):
        return passes([8.0], 6.0)(at_s) * (1 + 1e-6 * min(25.0, max(0.0, 25 * (at_s - 12.0))))

    second = list(entries(Source(resting, 0.3, seed=2, first_tick=9), 17.0, start_host_s=17.0, boot=2))
    frozen = next(place for place, entry in enumerate(second) if entry.host_s > 28.0)
    second.insert(frozen, Operator(28.0, "freeze"))
    with CaptureWriter(path, HEADER) as writer:
        for entry in [*first, Gap(16.9, 15.02, "unplugged"), *second]:
            writer.write(entry)
    return path


@pytest.fixture(autouse=True)
def no_settings_of_mine(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def replayed(capture, capsys, *options):
    """The objects of `replay --json`, with a WAV file beside them."""
    assert main(["replay", str(capture), "--json", "--sound", "a.wav", *options]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()], samples_of("a.wav")


def samples_of(path):
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(float)


def settled(capture):
    """The alerts of a capture as they were when they settled, by number: from there on they sound."""
    chain, found = Chain(defaults(), points=True), {}
    for entry in read_capture(capture, Report()):
        for output in chain.feed(entry):
            if type(output) is Alert and output.stage == "settled":
                found.setdefault(output.id, output)
    return found


def tone_after(sound, from_s):
    """(start_s, samples) of the first tone that begins at from_s or later."""
    start = round(from_s * RATE)
    start += np.flatnonzero(sound[start:] != 0)[0]
    quiet = np.convolve(sound[start : start + RATE] != 0, np.ones(200), "valid") == 0
    return start / RATE, sound[start : start + np.flatnonzero(quiet)[0]]


def frequencies(tone):
    """(time_s, Hz) of each period, by the rising zero crossings, interpolated."""
    before = np.flatnonzero((tone[:-1] < 0) & (tone[1:] >= 0))
    at = before - tone[before] / (tone[before + 1] - tone[before])
    return (at[1:] + at[:-1]) / 2 / RATE, RATE / np.diff(at)


@pytest.mark.parametrize("name", ["made here", "orchard-path", "warm-up-unplug"])
def test_the_alerts_of_json_are_heard_at_their_times_with_their_pitch_and_their_bend(name, capture, capsys):
    file = capture if name == "made here" else CAPTURES / f"{name}.ccap.gz"
    objects, sound = replayed(file, capsys)
    stages = settled(file)
    alerts = [item for item in objects if item["kind"] == "alert"]
    signs, unsettled = set(), 0
    for item in alerts:
        stage = stages[item["id"]]
        # An alert that has waited is raised and settled at once: the tone of the raise comes first.
        from_s = max(stage.settled_s - 0.001, item["raised_s"] + t.UNSETTLED_S + 0.001)
        start_s, tone = tone_after(sound, from_s)
        # Behind another alert it waits for that tone.
        assert from_s <= start_s <= stage.settled_s + 0.15
        assert len(tone) / RATE == pytest.approx(t.BENT_S, abs=0.005)
        times, hz = frequencies(tone)
        slope, middle = np.polyfit(times - t.BENT_S / 2, np.log(hz), 1)
        assert math.exp(middle) == pytest.approx(t.pitch_hz(stage.peak_shift_ppm), rel=0.02)
        assert math.exp(slope * t.BENT_S) == pytest.approx(1.25 ** (2 * stage.sign), rel=0.05)
        if stage.settled_s == item["settled_s"]:  # no second look changed it later
            assert stage.sign == item["sign"] == np.sign(slope)
            signs.add(item["sign"])
        raised = round(item["raised_s"] * RATE)
        if not sound[raised - 500 : raised - 20].any():  # no other alert sounds
            start_s, tone = tone_after(sound, item["raised_s"] - 0.001)
            assert start_s == pytest.approx(item["raised_s"], abs=0.001)
            assert len(tone) / RATE == pytest.approx(t.UNSETTLED_S, abs=0.005)
            _, hz = frequencies(tone)
            assert hz.max() / hz.min() < 1.02  # not settled: no bend
            unsettled += 1
    assert len(alerts) >= 3 and signs == {-1, 1} and unsettled >= 3


def test_between_the_alerts_there_are_ticks_alone_and_nothing_in_the_gap(capture, capsys):
    objects, sound = replayed(capture, capsys)
    quiet = np.ones(len(sound), dtype=bool)
    for item in objects:
        if item["kind"] == "alert":
            quiet[round(RATE * (item["raised_s"] - 0.01)) : round(RATE * (item["released_s"] + 1.5))] = False
    quiet[round(28.0 * RATE) :] = False  # the frozen baseline
    [gap] = [item for item in objects if item["kind"] == "gap"]
    assert gap["end_s"] - gap["start_s"] > 1.9
    assert not sound[round(RATE * (gap["start_s"] + 0.05)) : round(RATE * gap["end_s"])].any()
    rest = np.where(quiet, sound, 0.0)
    assert 0.9 * t.TICK_PEAK * FULL < np.abs(rest).max() <= t.TICK_PEAK * FULL
    ticks = np.flatnonzero((np.abs(rest) > 0) & (np.convolve(np.abs(rest), np.ones(2000))[: len(rest)] == np.abs(rest)))
    seconds = ticks / RATE
    assert len(seconds) > 15 and np.abs(seconds[seconds < 14] - np.round(seconds[seconds < 14])).max() < 0.03


def test_the_frozen_baseline_lets_the_level_sound_softly(capture, capsys):
    _, sound = replayed(capture, capsys)
    last = sound[round(32.0 * RATE) :]
    assert np.abs(last).max() == pytest.approx(t.LEVEL_PEAK * FULL, rel=0.02)
    _, tone = tone_after(sound, 32.5)
    times, hz = frequencies(tone)
    slope, middle = np.polyfit(times - t.BENT_S / 2, np.log(hz), 1)
    assert slope > 0 and math.exp(middle) == pytest.approx(t.pitch_hz(25.0), rel=0.02)


@pytest.mark.parametrize("name", ["orchard-path", "mineral-soil", "warm-up-unplug", "quiet-bench"])
def test_length_peak_and_no_clicks(name, capsys):
    objects, sound = replayed(CAPTURES / f"{name}.ccap.gz", capsys)
    assert len(sound) == round(objects[-1]["duration_s"] * RATE)
    assert np.abs(sound).max() <= 0.25 * FULL
    # A sine of 2000 Hz and the edges of a tone have no larger step; a click would.
    steepest = 0.25 * FULL * (2 * math.pi * 2000 + math.pi / (2 * tone_samples.FADE_S)) / RATE
    assert np.abs(np.diff(sound)).max() < steepest
    loud = np.abs(sound) > 0.01 * FULL
    begins = np.flatnonzero(loud[1:] & ~loud[:-1]) + 1
    before = np.array([np.abs(sound[max(0, place - 20) : place]).max() for place in begins])
    assert before.min() > 0  # no tone begins from nothing at once


def test_an_imported_log_begins_at_its_first_reading(tmp_path, capsys):
    frequency = passes([8.0], 20.0)
    with (tmp_path / "log.csv").open("w", encoding="utf-8") as file:
        file.write("time_s,frequency_hz\n")
        file.writelines(f"{1000 + k * 0.02:.3f},{frequency(k * 0.02):.6f}\n" for k in range(600))
    assert main(["import", "log.csv", "log.ccap", "--quiet"]) == 0
    objects, sound = replayed("log.ccap", capsys)
    assert len(sound) == pytest.approx(12.0 * RATE, abs=1)
    alert = next(item for item in objects if item["kind"] == "alert")
    assert alert["raised_s"] > 1000
    start_s, _ = tone_after(sound, alert["settled_s"] - 1000 - 0.001)
    assert start_s == pytest.approx(alert["settled_s"] - 1000, abs=0.02)


def test_a_tone_at_the_end_of_the_recording_fades_with_it(tmp_path, capsys):
    with CaptureWriter("cut.ccap", HEADER) as writer:
        for entry in entries(Source(passes([8.0], 30.0), 0.3), 8.36):
            writer.write(entry)
    objects, sound = replayed("cut.ccap", capsys)
    assert len(sound) == round(objects[-1]["duration_s"] * RATE)
    assert np.abs(sound[-2000:]).max() > 0.2 * FULL and abs(sound[-1]) < 0.02 * FULL


def test_the_sound_and_the_table_of_several_options_are_those_of_each_alone(capture, capsys):
    objects, _ = replayed(capture, capsys, "--series", "a.csv")
    assert main(["replay", str(capture), "--json"]) == 0
    assert [json.loads(line) for line in capsys.readouterr().out.splitlines()] == objects
    assert main(["replay", str(capture), "--series", "b.csv", "--quiet"]) == 0
    assert Path("a.csv").read_bytes() == Path("b.csv").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["CAPTURE", "empty.ccap", "--sound", "s.wav"], "--sound takes one recording"),
        (["CAPTURE", "--sound", "there.wav"], "the file exists (there.wav)"),
        (["CAPTURE", "--sound", "nowhere/s.wav"], "no such folder (nowhere/s.wav)"),
        (["CAPTURE", "--sound", "-"], "cannot go to standard output"),
        (["CAPTURE", "--sound", "-", "--json"], "cannot go to standard output"),
        (["missing.ccap", "--sound", "s.wav"], "no such file"),
        (["empty.ccap", "--sound", "s.wav"], "no readings"),
    ],
)
def test_wrong_input_is_one_line_and_leaves_no_file(arguments, words, capture, capsys):
    Path("there.wav").write_text("mine")
    with CaptureWriter("empty.ccap", Header("serial", "2026-05-01T08:00:00Z")):
        pass
    before = sorted(Path().iterdir())
    assert main(["replay", *(str(capture) if word == "CAPTURE" else word for word in arguments)]) == 2
    error = capsys.readouterr().err
    assert words in error and error.count("\n") == 1
    assert sorted(Path().iterdir()) == before and Path("there.wav").read_text() == "mine"


def test_a_large_file_is_announced_and_one_over_4_gb_refused(capture, capsys, monkeypatch):
    monkeypatch.setattr("coilcount.commands.sound_file._LARGE_BYTES", 1e6)
    assert main(["replay", str(capture), "--sound", "a.wav"]) == 0
    announced = capsys.readouterr().err
    assert announced == "coilcount: a.wav: about 1 MB, for 34.0 s of sound\n"
    assert Path("a.wav").stat().st_size == pytest.approx(tone_samples.wav_bytes(34.0), rel=0.002)
    monkeypatch.setattr(tone_samples, "MOST_WAV_BYTES", 1_000_000)  # stands for 4 GB
    assert main(["replay", str(capture), "--sound", "b.wav"]) == 2
    assert "at most 27 h (4 GB)" in capsys.readouterr().err
    # The length is known beforehand from the recorded times only; the file itself is watched as well.
    monkeypatch.setattr("coilcount.capture.length.about_length_s", lambda *paths: None)
    assert main(["replay", str(capture), "--sound", "b.wav"]) == 2
    assert "at most 27 h (4 GB)" in capsys.readouterr().err
    assert not [path for path in Path().iterdir() if path.name.startswith("b.wav")]


def test_the_length_of_a_capture_before_it_is_read(capture, tmp_path):
    assert about_length_s(capture) == pytest.approx(34.0, abs=0.05)
    zipped = gzip.compress(capture.read_bytes())
    (tmp_path / "a.ccap.gz").write_bytes(zipped)
    assert about_length_s("a.ccap.gz") == pytest.approx(34.0, abs=0.05)
    (tmp_path / "cut.ccap.gz").write_bytes(zipped[: len(zipped) // 2])
    assert 5.0 < about_length_s("cut.ccap.gz") < 30.0
    (tmp_path / "text.ccap").write_bytes(b"no capture\n" * 10)
    assert about_length_s("text.ccap") is about_length_s("missing.ccap") is None
