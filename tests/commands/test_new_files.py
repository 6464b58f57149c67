"""New files appear whole or not at all, and replace nothing.

A command that failed or was interrupted can be run again.
"""

import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from capture_samples import some_entries, write
from coilcount.commands.cli import main
from coilcount.new_files import new_file, new_paths
from coilcount.plan import make

CLI = [sys.executable, "-m", "coilcount"]


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def no_links(monkeypatch):
    """A fake of a file system without hard links, such as FAT."""

    def fake_link(*_):
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", fake_link)


@pytest.mark.parametrize("links", [True, False])
def test_a_file_appears_when_it_is_whole(tmp_path, monkeypatch, links):
    if not links:
        no_links(monkeypatch)
    path = tmp_path / "a.csv"
    with new_file(path) as file:
        file.write("é\n")
        assert not path.exists()
    assert path.read_bytes() == "é\n".encode() and names(tmp_path) == ["a.csv"]


@pytest.mark.parametrize("links", [True, False])
@pytest.mark.parametrize("kind", [KeyboardInterrupt, ValueError])
def test_nothing_is_left_by_a_body_that_raises(tmp_path, monkeypatch, links, kind):
    if not links:
        no_links(monkeypatch)
    with pytest.raises(kind), new_file(tmp_path / "a.csv") as file:
        file.write("half")
        raise kind
    assert names(tmp_path) == []


@pytest.mark.parametrize("links", [True, False])
@pytest.mark.parametrize("when", ["before", "meanwhile", "as a link to nothing"])
def test_a_name_that_is_taken_stays_as_it_is_and_of_several_files_none_appears(tmp_path, monkeypatch, links, when):
    if not links:
        no_links(monkeypatch)
    taken = tmp_path / "b"

    def take():
        taken.symlink_to("nothing") if when == "as a link to nothing" else taken.write_text("another's")

    if when != "meanwhile":
        take()
    with pytest.raises(FileExistsError) as caught, new_paths(tmp_path / "a", taken) as temporaries:
        for path in temporaries:
            path.write_text("ours")
        take()
    assert caught.value.filename == str(taken)
    assert names(tmp_path) == ["b"] and (taken.is_symlink() or taken.read_text() == "another's")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder to work in, with a capture, a log and its simulation."""
    monkeypatch.chdir(tmp_path)
    write(tmp_path / "in.ccap", some_entries(3000))
    rows = "".join(f"{0.02 * number:.6f},{25_000 + number % 7}\n" for number in range(5000))
    (tmp_path / "in.csv").write_text("time_s,frequency_hz\n" + rows)
    (tmp_path / "scene.toml").write_text("schema = 1\nduration_s = 20\n")
    return tmp_path


COMMANDS = {
    "export": ["export", "in.ccap", "out.csv"],
    "replay": ["replay", "in.ccap", "--series", "out.csv"],
    "import": ["import", "in.csv", "out.ccap"],
    "salvage": ["inspect", "in.ccap", "--salvage", "out.ccap"],
    "simulate": ["simulate", "scene.toml", "out.ccap"],
}
LIMITED = "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000));"
LIMITED += "from coilcount.commands.cli import main; sys.exit(main(sys.argv[1:]))"


@pytest.mark.parametrize("words", COMMANDS.values(), ids=COMMANDS)
def test_a_full_disk_leaves_nothing_and_doing_it_again_works(folder, words):
    """A real limit on the size of files: the system's own call fails in the middle."""
    before = names(folder)
    done = subprocess.run([sys.executable, "-c", LIMITED, *words], capture_output=True, text=True, check=False)
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert f"the disk is full ({words[-1]}). Make room and do it again" in done.stderr
    assert names(folder) == before
    assert main(words) == 0
    assert len(names(folder)) == len(before) + (2 if "simulate" in words else 1)


def test_ctrl_c_and_kill_leave_nothing_in_the_way(folder, capsys):
    words = ["replay", "in.ccap", "--speed", "1", "--series", "out.csv"]
    before = names(folder)
    for sent in (signal.SIGINT, signal.SIGKILL):
        process = subprocess.Popen([*CLI, *words], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        until = time.monotonic() + 10
        while names(folder) == before:
            assert time.monotonic() < until
            time.sleep(0.01)
        process.send_signal(sent)
        assert process.communicate()[1] == ("coilcount: interrupted\n" if sent == signal.SIGINT else "")
        left = set(names(folder)) - set(before)
        assert len(left) == (sent == signal.SIGKILL) and all("out.csv.unfinished-" in name for name in left)
    assert main(["replay", "in.ccap", "--series", "out.csv"]) == 0
    assert (folder / "out.csv").read_text().count("\n") > 2900


def test_labels_that_exist_leave_no_capture(folder, capsys):
    (folder / "out.labels.csv").write_text("mine")
    assert main(["simulate", "scene.toml", "out.ccap"]) == 2
    assert "the file exists (out.labels.csv)" in capsys.readouterr().err
    assert "out.ccap" not in names(folder) and (folder / "out.labels.csv").read_text() == "mine"


def test_pictures_and_plans_are_not_overwritten_and_come_together(folder, capsys, monkeypatch):
    # One object in place of the catalogue: quicker.
    monkeypatch.setattr(make, "CATALOGUE", {"bolt 60 mm": make.CATALOGUE["bolt 60 mm"]})
    (folder / "d").mkdir()
    (folder / "d" / "response.png").write_bytes(b"mine")
    words = ["plan", "--quiet", "--save", "p.toml", "--save-settings", "s.toml", "--picture", "d"]
    assert main(words) == 2
    assert "the picture exists (d/response.png). Nothing is ever overwritten" in capsys.readouterr().err
    assert names(folder / "d") == ["response.png"] and (folder / "d" / "response.png").read_bytes() == b"mine"
    assert not {"p.toml", "s.toml"} & set(names(folder))
    assert main([*words[:-1], "e"]) == 0
    assert {"p.toml", "s.toml"} < set(names(folder)) and len(names(folder / "e")) == 4
    assert main(["plan", "--quiet", "--save", "q.toml", "--save-settings", "s.toml"]) == 2
    assert "the file exists (s.toml)" in capsys.readouterr().err and "q.toml" not in names(folder)
