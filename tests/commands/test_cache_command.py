"""`coilcount cache`: shows and clears the kept results, and nothing else."""

import json
from pathlib import Path

import pytest
from coilcount.commands.cache import open_cache
from coilcount.commands.cli import main
from coilcount.desk.many import replay_many
from coilcount.desk.recordings import Recording
from coilcount.settings import defaults

CAPTURE = Path(__file__).parents[2] / "captures" / "quiet-bench.ccap.gz"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("COILCOUNT_CACHE", str(tmp_path / "kept"))
    monkeypatch.delenv("COILCOUNT_CACHE_MB", raising=False)
    return tmp_path / "kept"


def test_show_and_clear(folder, capsys):
    assert main(["cache", "show"]) == 0
    assert capsys.readouterr().out == f"place      {folder}\nresults    0, 0.0 MB of at most 500 MB\n"
    replay_many([Recording((CAPTURE,))], defaults(), [6.0], cache=open_cache())
    (folder / "mine.txt").write_text("stays")
    assert main(["cache", "show"]) == 0
    assert "results    1, 0.0 MB" in capsys.readouterr().out
    assert main(["cache", "show", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert (shown["folder"], shown["results"], shown["limit_bytes"]) == (str(folder), 1, 500_000_000)
    assert 500 < shown["bytes"] < 20_000 and shown["oldest_utc"].endswith("Z")
    assert main(["cache", "clear"]) == 0
    assert capsys.readouterr().out == f"removed 1 result, 0.0 MB, from {folder}\n"
    assert [path.name for path in folder.iterdir()] == ["mine.txt"]
    assert main(["cache", "clear", "--quiet"]) == 0
    assert capsys.readouterr().out == ""


def test_off(monkeypatch, capsys):
    monkeypatch.setenv("COILCOUNT_CACHE", "off")
    assert main(["cache", "show"]) == 0
    assert "COILCOUNT_CACHE is off" in capsys.readouterr().out
    assert main(["cache", "clear", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"kind": "cache", "action": "clear", "folder": None}


@pytest.mark.parametrize("limit", ["much", "-1", "nan", "inf"])
def test_a_limit_that_is_no_number(limit, folder, monkeypatch, capsys):
    monkeypatch.setenv("COILCOUNT_CACHE_MB", limit)
    assert main(["cache", "show"]) == 2
    error = capsys.readouterr().err
    assert error == f'coilcount: COILCOUNT_CACHE_MB is "{limit}". Give a number of MB, for example 500\n'


def test_a_result_that_cannot_be_removed(folder, capsys):
    (folder / ("a" * 64 + ".replay")).mkdir(parents=True)
    assert main(["cache", "clear"]) == 1
    assert "cannot be removed" in capsys.readouterr().err
