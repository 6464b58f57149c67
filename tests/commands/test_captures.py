"""`captures list`, and how `inspect`, `replay`, `noise` and `export` take files, folders and parts."""

import json
import subprocess
import sys
from dataclasses import replace

import pytest
from board_lines import HEADER, Source, entries, passes
from coilcount.capture.labels import LabelFile
from coilcount.capture.writer import CaptureWriter
from coilcount.commands.cli import main
from coilcount.model import Label, Operator
from coilcount.settings import defaults

PLAN = {"file": "ten.toml", "sha256": "ab" * 32, "plan": {"coil": {"diameter_mm": 100.0, "turns": 30}}}


def write(path, lines, header=HEADER, **options):
    with CaptureWriter(path, header, **options) as writer:
        for entry in lines:
            writer.write(entry)
    return [part.path.name for part in writer.parts]


def board(seconds, *at_s):
    return list(entries(Source(passes(list(at_s), 30.0), 0.3), seconds))


def headed(text, **changes):
    return replace(HEADER, notes={"note": text}, **changes)


@pytest.fixture
def field(tmp_path, monkeypatch):
    """A folder with a recording of a build and its labels, one in parts, a damaged one, and two that are none."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    folder = tmp_path / "field"
    folder.mkdir()
    settings = defaults().with_threshold(7.0).as_dict()
    lines = board(20.0, 8.0, 14.0)
    lines.insert(500, Operator(lines[499].host_s, "mark", text="gate"))
    write(folder / "a.ccap", lines, headed("wet clay", build=PLAN, settings=settings, simulated=False))
    labels = [
        Label(7.5, 8.5, 8.0, "ring", "gold", "non-ferrous"),
        Label(13.5, 14.5, 14.0, "nail", "iron", "ferrous"),
        Label(17.0, 18.0, 17.5, "knock"),
        Label(18.0, 19.0, 18.5, "?"),
    ]
    LabelFile(folder / "a.labels.csv").save(labels)
    write(folder / "r.ccap", board(12.0, 8.0), headed("parts"), rotate_bytes=20_000)
    write(folder / "torn.ccap", board(6.0), headed("torn"))
    data = (folder / "torn.ccap").read_bytes()
    (folder / "torn.ccap").write_bytes(data[: len(data) // 2])
    (folder / "text.ccap").write_text("no capture\n")
    (folder / "lost.labels.csv").write_text("")
    return folder


def objects(text):
    return [json.loads(line) for line in text.splitlines()]


def test_the_list_has_a_row_for_each_recording(field, capsys):
    assert main(["captures", "list", "field"]) == 0
    captured = capsys.readouterr()
    head, *rows, foot = [line.split() for line in captured.out.splitlines() if line.strip()]
    assert head == ["recording", "date", "(UTC)", "length", "build", "soil,", "place", "marks", "labels", "state"]
    assert rows[0] == [
        *("field/a.ccap", "2026-05-01", "08:00:00", "20.0", "s", "ten", "wet", "clay", "1", "3,", "1", "proposed"),
        "whole",
    ]
    assert rows[1][:5] == ["field/r.ccap", "(+2)", "2026-05-01", "08:00:00", "12.0"]
    assert "damaged:" in rows[2] and rows[2][0] == "field/torn.ccap"
    assert foot[:2] == ["3", "recordings,"]
    assert captured.err.splitlines() == [
        "coilcount: field/text.ccap: left out: this is not a coilcount capture",
        "coilcount: field/lost.labels.csv: labels without a capture; they are not used",
    ]


def test_the_list_as_json_and_with_alerts(field, capsys):
    assert main(["captures", "list", "field", "--json", "--alerts"]) == 0
    a, r, torn = objects(capsys.readouterr().out)
    assert (a["file"], a["build"], a["marks"], a["whole"]) == ("field/a.ccap", "ten", 1, True) and a["alerts"] >= 2
    assert a["duration_s"] == pytest.approx(20.0, abs=0.05) and a["start_utc"] == HEADER.start_utc
    assert a["labels"] == {
        "file": "field/a.labels.csv", "objects": 2, "by_response": {"ferrous": 1, "non-ferrous": 1},
        "nothing": 1, "proposed": 1, "problem": "",
    }  # fmt: skip
    assert r["parts"] == ["field/r.ccap", "field/r.002.ccap", "field/r.003.ccap"] and r["labels"]["file"] is None
    assert not torn["whole"] and "not closed" in torn["complaint"] and torn["problem"] == ""
    for row in (a, r, torn):
        main(["inspect", *row["parts"], "--json"])
        [found] = objects(capsys.readouterr().out)
        assert row["duration_s"] == pytest.approx(found["duration_s"], abs=0.001)
        assert row["marks"] == len(found["marks"]) and row["complaint"] == found["complaint"]
    assert main(["replay", "field/a.ccap", "--json"]) == 0
    assert objects(capsys.readouterr().out)[-1]["alerts"] == a["alerts"]


def test_a_file_that_was_given_and_cannot_be_read_is_a_row_and_exit_1(field, capsys):
    assert main(["captures", "list", "field/a.ccap", "field/text.ccap"]) == 1
    assert main(["captures", "list", "field/a.ccap", "nowhere"]) == 2
    assert "this is not a coilcount capture" in " ".join(capsys.readouterr().out.split())
    assert main(["captures", "list", "field", "--settings", "x.toml"]) == 2
    assert "--settings goes with --alerts" in capsys.readouterr().err


def test_the_list_loads_nothing_heavy(field):
    code = (
        "import sys; from coilcount.commands.cli import main; main(['captures', 'list', 'field'])\n"
        "print([name for name in ('numpy', 'scipy', 'matplotlib', 'serial') if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.splitlines()[-1] == "[]"


def test_inspect_shows_build_settings_and_labels(field, capsys):
    assert main(["inspect", "field/a.ccap"]) == 0
    rows = dict(line.split(None, 1) for line in capsys.readouterr().out.splitlines())
    assert rows["build"] == "ten.toml, 100.0 mm, 30 turns, SHA-256 abababababab..."
    assert rows["settings"] == "threshold 7.0; all others as by default"
    assert rows["labels"] == "1 ferrous, 1 non-ferrous, 1 nothing, 1 proposed: field/a.labels.csv"
    assert main(["inspect", "field/a.ccap", "--json"]) == 0
    [found] = objects(capsys.readouterr().out)
    assert found["build"] == PLAN and found["settings"]["tracker"]["threshold"] == 7.0
    assert found["labels"]["objects"] == 2 and found["parts"] == ["field/a.ccap"] and found["part"] == 1
    assert main(["inspect", "field/torn.ccap"]) == 1
    rows = dict(line.split(None, 1) for line in capsys.readouterr().out.splitlines())
    assert rows["build"].startswith("no plan") and rows["settings"] == "not recorded"
    assert rows["labels"].startswith("none")


def test_inspect_of_a_folder_goes_through_all_and_of_parts_takes_them_together(field, capsys):
    assert main(["inspect", "field", "--json"]) == 1
    a, r, torn = objects(capsys.readouterr().out)
    assert (a["whole"], r["whole"], torn["whole"]) == (True, True, False)
    assert (r["records"], r["boots"], len(r["parts"])) == (600, 1, 3) and r["duration_s"] > 11.9
    (field / "r.002.ccap").unlink()
    assert main(["inspect", "field/r.ccap", "field/r.003.ccap"]) == 1
    captured = capsys.readouterr()
    assert captured.err == "coilcount: field/r.ccap: part 2 of this recording is not given\n"
    assert "whole      no: part 2 missing" in captured.out and "part missing" in captured.out
    assert main(["inspect", "field", "--salvage", "x.ccap"]) == 2
    assert "--salvage takes one capture" in capsys.readouterr().err


def test_replay_of_parts_is_that_of_one_capture(field, capsys):
    write(field / "one.ccap", board(12.0, 8.0), headed("one"))
    parts = [f"field/{name}.ccap" for name in ("r.003", "r", "r.002")]
    assert main(["replay", *parts, "--json"]) == 0
    joined = objects(capsys.readouterr().out)
    assert main(["replay", "field/one.ccap", "--json"]) == 0
    whole = objects(capsys.readouterr().out)
    assert [{**item, "file": "field/r.ccap"} for item in whole] == joined
    assert main(["replay", *parts]) == 0
    captured = capsys.readouterr()
    assert captured.out.startswith("field/r.ccap and 2 more parts (simulated)\n") and captured.err == ""
    assert main(["replay", "field", "--json"]) == 0
    assert [item["file"] for item in objects(capsys.readouterr().out) if item["kind"] == "summary"] == [
        "field/a.ccap", "field/one.ccap", "field/r.ccap", "field/torn.ccap",
    ]  # fmt: skip


def test_export_and_noise_take_one_recording_with_all_of_its_parts(field, capsys):
    parts = [f"field/{name}.ccap" for name in ("r", "r.002", "r.003")]
    assert main(["export", *parts, "out.csv"]) == 0
    assert capsys.readouterr().out == "599 readings to out.csv\n"
    write(field.parent / "one.ccap", board(12.0, 8.0), headed("one"))
    assert main(["export", "one.ccap", "one.csv", "--quiet"]) == 0
    assert (field.parent / "one.csv").read_bytes() == (field.parent / "out.csv").read_bytes()
    for command in (["export", "field", "not.csv"], ["noise", "field"]):
        assert main(command) == 2
        assert "takes one recording, and 3 were given (field/a.ccap, " in capsys.readouterr().err
    assert main(["noise", *parts, "--json"]) == 1  # a pass is in it
    assert objects(capsys.readouterr().out)[0]["readings"] == 600
