"""`coilcount replay`: JSON objects, the table, damaged files, pace."""

import csv
import gzip
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest
from board_lines import HEADER, Source, entries, passes
from coilcount.capture.writer import CaptureWriter
from coilcount.chain import Chain
from coilcount.commands.cli import main
from coilcount.face.json_out import as_object
from coilcount.face.pacing import Pacer
from coilcount.face.plain import JsonLines
from coilcount.model import Alert, Gap, Hold, MarkMade, Notice, Operator
from coilcount.settings import defaults, load_settings

QUIET = Path(__file__).parents[2] / "captures" / "quiet-bench.ccap.gz"
# The keys of the contract, in its order.
KEYS = {
    "alert": [
        *("kind", "file", "id", "raised_s", "settled_s", "released_s", "peak_s", "open", "sign", "response", "reasons"),
        *("score", "peak_shift_ppm", "peak_shift_hz", "confidence", "width_s", "seen", "rarity_min"),
    ],
    "hold": ["kind", "file", "start_s", "end_s", "open", "sign"],
    "gap": ["kind", "file", "start_s", "end_s", "reason"],
    "mark": ["kind", "file", "time_s", "text"],
    "summary": [
        *("kind", "file", "start_utc", "duration_s", "records", "lost", "dropped", "damaged", "baseline_hz"),
        *("noise_ppm", "alerts", "settings_sha256", "mended", "repaired", "false_alarms_per_minute", "broad_dips"),
    ],
}


@pytest.fixture(scope="module")
def capture(tmp_path_factory):
    """Two passes, a mark, an unplug, a third pass."""
    path = tmp_path_factory.mktemp("captures") / "a.ccap"
    first = list(entries(Source(passes([8.0, 12.0], 30.0), 0.3), 15.0))
    second = list(entries(Source(passes([8.0], -30.0), 0.3, seed=2, first_tick=9), 12.0, start_host_s=17.0, boot=2))
    with CaptureWriter(path, HEADER) as writer:
        for entry in [*first, Operator(15.01, "mark", text="gate, north"), Gap(16.9, 15.02, "unplugged"), *second]:
            writer.write(entry)
    return path


@pytest.fixture(autouse=True)
def no_settings_of_mine(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def objects(text):
    return [json.loads(line) for line in text.splitlines()]


def test_json_has_the_agreed_keys_and_order(capture, capsys):
    assert main(["replay", str(capture), "--json"]) == 0
    captured = capsys.readouterr()
    found = objects(captured.out)
    assert captured.err == ""
    assert main(["replay", str(capture), str(capture), "--json"]) == 0
    again = capsys.readouterr()
    assert again.out == captured.out and again.err == f"coilcount: {capture}: given twice, used once\n"
    assert {item["kind"] for item in found} >= {"alert", "gap", "mark", "summary"}
    for item in found:
        assert list(item) == KEYS[item["kind"]]
        assert item["file"] == str(capture)
    assert [item["kind"] for item in found].index("summary") == len(found) - 1
    summary = found[-1]
    assert summary["start_utc"] == HEADER.start_utc
    assert summary["records"] == 1350
    assert summary["alerts"] == sum(item["kind"] == "alert" for item in found)
    assert summary["settings_sha256"] == defaults().sha256()
    strong = [
        item for item in found if item["kind"] == "alert" and item["score"] > 20 and item["response"] != "uncertain"
    ]
    assert [(round(item["peak_s"]), item["sign"], item["response"]) for item in strong] == [
        (8, 1, "non-ferrous"), (12, -1, "ferrous"), (25, -1, "ferrous"),
    ]  # fmt: skip
    [gap] = [item for item in found if item["kind"] == "gap"]
    assert (gap["reason"], gap["start_s"], gap["end_s"]) == (
        "unplugged",
        pytest.approx(15, abs=0.01),
        pytest.approx(17, abs=0.01),
    )
    [mark] = [item for item in found if item["kind"] == "mark"]
    assert mark["text"] == "gate, north"
    # In the order in which they became final: the mark was made before the gap had ended.
    assert found.index(mark) < found.index(gap) < found.index(strong[2])


def test_every_kind_of_object_has_the_agreed_keys():
    alert = Alert("final", 1, 1.0, None, None, 1.25, True, 0, "uncertain", ("too weak",), 3.0, -1.0, -0.025, None, 0.2)
    assert list(as_object(alert, "f")) == KEYS["alert"]
    assert as_object(alert, "f")["reasons"] == ["too weak"]
    hold = Hold("final", 1.0, None, True, -1)
    assert as_object(hold, "f") == {
        "kind": "hold",
        "file": "f",
        "start_s": 1.0,
        "end_s": None,
        "open": True,
        "sign": -1,
    }
    for no_part in (Hold("start", 1.0, None, True, -1), Notice(None, "info", "x")):
        assert as_object(no_part, "f") is None
    assert list(as_object(MarkMade(1.0, "x"), "f")) == KEYS["mark"]


def test_the_table_fits_80_columns_and_says_what_the_sign_means(capture, capsys):
    assert main(["replay", str(capture)]) == 0
    text = capsys.readouterr().out
    assert "\x1b" not in text
    lines = text.splitlines()
    assert max(map(len, lines[1:])) <= 80
    assert "non-ferrous, or sheet iron" in text
    assert "(simulated)" in lines[0]
    rows = [line for line in lines if line.lstrip()[:2].rstrip().isdigit() and ("▲ rose" in line or "▼ fell" in line)]
    assert any("0:08.0 ▲ rose" in row and "non-ferrous, or sheet iron" in row for row in rows)
    assert any("0:12.0 ▼ fell" in row and "ferrous response" in row for row in rows)
    assert any("unplugged" in line and "0:17.0" in line for line in lines)
    assert any("1350 records" in line for line in lines[-3:])
    assert "no noise profile: the soil is learned while sweeping" in lines
    assert main(["replay", str(capture), "--quiet"]) == 0
    assert capsys.readouterr().out == ""


def test_threshold_changes_the_alerts_and_not_the_statistic(capture, capsys, tmp_path):
    main(["replay", str(capture), "--json", "--series", "a.csv"])
    high = objects(capsys.readouterr().out)
    main(["replay", str(capture), "--json", "--threshold", "2.5", "--series", "b.csv"])
    low = objects(capsys.readouterr().out)
    assert 3 <= high[-1]["alerts"] < low[-1]["alerts"]
    assert high[-1]["settings_sha256"] != low[-1]["settings_sha256"]
    assert high[-1]["noise_ppm"] == low[-1]["noise_ppm"]
    rows = [list(csv.reader((tmp_path / name).read_text("utf-8").splitlines())) for name in ("a.csv", "b.csv")]
    statistic = [[row[4] for row in series] for series in rows]
    assert statistic[0] == statistic[1]


def test_the_series(capture, capsys, tmp_path):
    assert main(["replay", str(capture), "--series", "s.csv", "--quiet"]) == 0
    with (tmp_path / "s.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["time_s", "frequency_hz", "shift_ppm", "baseline_hz", "statistic"]
    # One row for each interval, except the first after each of the two starts: no interval before it exists.
    assert len(rows) == 1348
    times = [float(row["time_s"]) for row in rows]
    assert times == sorted(set(times))
    peak = max(rows, key=lambda row: float(row["shift_ppm"]))
    assert float(peak["time_s"]) == pytest.approx(8.0, abs=0.03)
    assert float(peak["frequency_hz"]) == pytest.approx(25_000 * (1 + 30e-6), rel=2e-6)
    assert main(["replay", str(capture), "--series", "s.csv"]) == 2
    assert "exists" in capsys.readouterr().err


def test_settings_that_differ_from_the_recording_are_reported(capture, capsys, tmp_path):
    header = replace(HEADER, settings=defaults().as_dict())
    with CaptureWriter(tmp_path / "b.ccap", header) as writer:
        for entry in entries(Source(lambda t: 25_000.0), 1.0):
            writer.write(entry)
    (tmp_path / "t.toml").write_text("schema = 1\n[tracker]\nthreshold = 6\n", encoding="utf-8")
    assert main(["replay", "b.ccap", "--settings", "t.toml", "--json"]) == 0
    assert "threshold none then, 6.0 now" in capsys.readouterr().err
    assert main(["replay", "b.ccap", "--json"]) == 0
    assert capsys.readouterr().err == ""


def test_with_a_noise_profile_a_replay_raises_the_alerts_of_the_recording(capsys, tmp_path):
    noise = [round(0.4 * 0.9**i, 4) for i in range(25)]
    (tmp_path / "field.toml").write_text(f"schema = 1\n[tracker]\nnoise_ppm_rthz = {noise}\n", encoding="utf-8")
    field = load_settings("field.toml")
    header = replace(HEADER, settings=field.as_dict())
    recorded = list(entries(Source(passes([8.0, 12.0], 30.0), 0.3), 17.0))
    live, chain = io.StringIO(), Chain(field, points=True)
    view = JsonLines(live, "c.ccap")
    with CaptureWriter(tmp_path / "c.ccap", header) as writer:
        for entry in recorded:
            writer.write(entry)
    for output in [output for entry in [header, *recorded] for output in chain.feed(entry)] + chain.finish():
        view.show(output)
    assert main(["replay", "c.ccap", "--settings", "field.toml", "--json"]) == 0
    learned = capsys.readouterr()
    assert (learned.out, learned.err) == (live.getvalue(), "")
    assert [line["kind"] for line in objects(learned.out)].count("alert") >= 2
    assert main(["replay", "c.ccap", "--settings", "field.toml"]) == 0
    assert "noise profile in use" in capsys.readouterr().out.splitlines()
    assert main(["replay", "c.ccap", "--json"]) == 0
    plain = capsys.readouterr()
    assert "noise_ppm_rthz 25 numbers then, [] now" in plain.err
    assert plain.out != learned.out


def test_the_sound_lines_of_a_damaged_capture_are_replayed(capture, capsys, tmp_path):
    data = capture.read_bytes()
    lines = data.split(b"\n")
    lines[300] = lines[300][:20] + b"\xff" + lines[300][21:]
    (tmp_path / "torn.ccap").write_bytes(b"\n".join(lines)[: len(data) // 2])
    assert main(["replay", "torn.ccap", "--json"]) == 0
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert "warning" in captured.err and "stops in the middle" in captured.err
    summary = objects(captured.out)[-1]
    assert (summary["damaged"], summary["lost"]) == (1, 1)
    (tmp_path / "a.ccap.gz").write_bytes(gzip.compress(data))
    assert main(["replay", "a.ccap.gz", "--json"]) == 0
    zipped = objects(capsys.readouterr().out)
    main(["replay", str(capture), "--json"])
    for from_gz, other in zip(zipped, objects(capsys.readouterr().out), strict=True):
        assert {**from_gz, "file": ""} == {**other, "file": ""}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["missing.ccap"], "no such file"),
        (["text.ccap"], "not a coilcount capture"),
        (["CAPTURE", "--threshold", "much"], '--threshold is "much"'),
        (["CAPTURE", "--threshold", "0.5"], "from 2 to 100 sigma"),
        (["CAPTURE", "--speed", "0"], "--speed is 0"),
        (["CAPTURE", "--speed", "fast"], '--speed is "fast"'),
        (["CAPTURE", str(QUIET), "--series", "s.csv"], "one capture"),
        (["CAPTURE", "--series", "nowhere/s.csv"], "no such folder"),
        (["CAPTURE", "--settings", "none.toml"], "no such settings file"),
    ],
)
def test_wrong_input_is_one_line_and_exit_2(arguments, words, capture, capsys, tmp_path):
    (tmp_path / "text.ccap").write_text("time,hz\n" * 30, encoding="utf-8")
    assert main(["replay", *(str(capture) if word == "CAPTURE" else word for word in arguments)]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert error.count("\n") == 1


def test_paced_replay_keeps_absolute_deadlines():
    now, slept = [100.0], []

    def sleep(seconds):
        slept.append(seconds)
        now[0] += seconds + 0.003  # every sleep is late

    pacer = Pacer(2.0, lambda: now[0], sleep)
    for k in range(501):
        pacer.wait_until(5.0 + 0.02 * k)
        now[0] += 0.001  # the work itself
    # 10 s recorded at twice the speed: late sleeps and work do not add up.
    assert now[0] == pytest.approx(105.0, abs=0.005)
    assert len(slept) == 500
    now[0] += 60.0  # the machine was asleep: catch up without waiting
    pacer.wait_until(15.0)
    assert len(slept) == 500
    with pytest.raises(ValueError, match="speed"):
        Pacer(0.0)


def test_paced_and_full_speed_give_the_same(capture, capsys, monkeypatch):
    waits = []
    monkeypatch.setattr("coilcount.face.pacing.Pacer.wait_until", lambda self, recorded_s: waits.append(recorded_s))
    main(["replay", str(capture), "--json", "--speed", "5"])
    paced = capsys.readouterr().out
    assert len(waits) > 1350
    assert waits == sorted(waits)
    main(["replay", str(capture), "--json"])
    assert capsys.readouterr().out == paced
    main(["replay", str(capture), "--speed", "5"])
    assert "alert 1 raised" in capsys.readouterr().out


def test_an_imported_log_of_12_000_rows(capsys, tmp_path):
    frequency = passes([40.0, 90.0, 140.0], 20.0)
    with (tmp_path / "log.csv").open("w", encoding="utf-8") as file:
        file.write("time_s,frequency_hz\n")
        file.writelines(f"{k * 0.02:.3f},{frequency(k * 0.02):.6f}\n" for k in range(12_000))
    assert main(["import", "log.csv", "log.ccap", "--quiet"]) == 0
    assert main(["replay", "log.ccap", "--json", "--threshold", "3"]) == 0
    found = objects(capsys.readouterr().out)
    assert all(list(item) == KEYS[item["kind"]] for item in found)
    assert found[-1]["records"] == 12_000
    strong = [
        item for item in found if item["kind"] == "alert" and item["score"] > 50 and item["response"] != "uncertain"
    ]
    assert [(round(item["peak_s"]), item["sign"]) for item in strong] == [(40, 1), (90, -1), (140, 1)]
