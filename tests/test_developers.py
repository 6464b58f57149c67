"""DEVELOPERS.md against the code: its picture and table of the rooms, and the files that it names."""

import os
import re
import subprocess
import sys
from pathlib import Path

import draw_rooms
import pytest
import test_rooms

ROOT = Path(__file__).resolve().parents[1]
# The folders from which the tables of DEVELOPERS.md name their files, so that the rows stay short.
FROM = (ROOT, ROOT / "host" / "coilcount", ROOT / "protocol", ROOT / "tests")
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def section(title: str) -> str:
    """The text under a heading, up to the next one of the same level."""
    return TEXT.split(f"\n## {title}\n")[1].split("\n## ")[0]


def rows(title: str) -> list[list[str]]:
    """The cells of the table under a heading, without its two heading rows."""
    lines = [line for line in section(title).splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def in_backticks(text: str) -> list[str]:
    return re.findall(r"`([^`]+)`", text)


def test_the_committed_picture_of_the_rooms_is_what_the_script_draws():
    drawn = draw_rooms.svg()
    for room in draw_rooms.rooms_of():
        assert re.search(rf"\b{room}\b", drawn)
    again = "draw it again: python tests/support/draw_rooms.py host/rooms.svg"
    assert (ROOT / "host" / "rooms.svg").read_text(encoding="utf-8") == drawn, again


def test_an_arrow_of_the_picture_is_an_import_that_test_rooms_allows():
    drawn = draw_rooms.edges()
    assert "board" in drawn["deploy"] and "tracker" in drawn["readings"]
    for room, others in drawn.items():
        if room in test_rooms.MAY:
            may = {name.split(".")[0] for name in test_rooms.MAY[room][0]}
            assert others <= may, room


def test_the_table_of_rooms_says_what_test_rooms_holds():
    table = {in_backticks(cells[0])[0]: cells for cells in rows("The rooms")}
    assert set(table) == set(test_rooms.MAY) | {"coilwire", "commands"}
    common = set(in_backticks(section("The rooms").split("**Common**")[1].split(".\n")[0]))
    assert common == test_rooms.COMMON
    for room, (ours, outside) in test_rooms.MAY.items():
        cell = table[room][2]
        named = set(in_backticks(cell)) | (common if "common" in cell.split(",")[0] else set())
        assert named == (ours - {room}) | outside | test_rooms.STRICT.get(room, set()), room
    assert set(in_backticks(table["coilwire"][2])) == test_rooms.STRICT["coilwire"]


@pytest.mark.parametrize("title", ["To change X, open Y", "The chip without a chip", "Benches"])
def test_every_file_that_a_table_names_exists(title):
    named = [name for cells in rows(title) for cell in cells for name in in_backticks(cell)]
    files = [name for name in named if re.fullmatch(r"[\w./-]+(/|\.py|\.md|\.jsonl|\.toml)", name)]
    assert len(files) > 5
    missing = [name for name in files if not any((folder / name).exists() for folder in FROM)]
    assert not missing


def test_a_bench_whose_reader_goes_away_leaves_without_a_traceback():
    """As with `| head -1`: here the reader has gone before the first line, which is the same every time."""
    for bench in (ROOT / "tests" / "bench").glob("*.py"):
        lines = bench.read_text(encoding="utf-8").splitlines()
        assert bench.name == "piped.py" or lines[-1].startswith("    piped.run(main"), bench
    reading, writing = os.pipe()
    os.close(reading)
    for rest in ("", "* 99_999"):  # printed at the end, and before
        words = f"import piped; piped.run(lambda: print('figure' {rest}))"
        run = [sys.executable, "-c", words]
        done = subprocess.run(run, stdout=writing, stderr=subprocess.PIPE, text=True, cwd=ROOT / "tests" / "bench")
        assert (done.returncode, done.stderr) == (1, "")
    os.close(writing)
