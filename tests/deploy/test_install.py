"""The installer against a real MicroPython prompt and LittleFS; support/replboard_start.py says what is simplified."""

import contextlib
import hashlib
import io
import json
import shutil

import pytest
from coilcount import __version__
from coilcount.board import link
from coilcount.board.ports import Port
from coilcount.commands.cli import main
from coilcount.deploy import install
from coilcount.deploy import prompt as repl
from coilcount.deploy.firmware_files import coilwire_folder, firmware_folder, tracker_folder
from coilcount.errors import DeviceError
from replboard import ReplBoard


@pytest.fixture(scope="module")
def first_install(tmp_path_factory):
    """The flash after a whole install by the command, and what it printed; made once, because it takes longest."""
    flash = tmp_path_factory.mktemp("first") / "flash"
    with ReplBoard(flash) as board, contextlib.redirect_stdout(io.StringIO()) as out:
        assert main(["install", "--port", board.port]) == 0
        files = on_board(board)
    return flash, out.getvalue().splitlines(), files


@pytest.fixture
def ready(tmp_path, first_install):
    """A board with everything on it."""
    shutil.copy(first_install[0], tmp_path / "flash")
    with ReplBoard(tmp_path / "flash") as board:
        yield board


@pytest.fixture
def board(tmp_path):
    """A board with nothing on it."""
    with ReplBoard(tmp_path / "flash") as board:
        yield board


def on_board(board):
    """The bytes of every file by its path, read back at the prompt without the installer's own programs."""
    program = (
        "import os\n"
        "def walk(folder):\n"
        " for name, kind, *_ in os.ilistdir(folder):\n"
        "  path = folder + name\n"
        "  if kind == 0x4000:\n   walk(path + '/')\n"
        "  else:\n"
        "   with open(path, 'rb') as file:\n    print(repr((path, file.read())))\n"
        "walk('/')\n"
    )
    with repl.interrupted(board.port) as prompt:
        return dict(eval(line) for line in prompt.run(program).splitlines())


def put(board, path, data):
    with repl.interrupted(board.port) as prompt:
        prompt.write(path, data, lambda done, total: None)


def installed(board, capsys):
    """The object that `install --json` prints."""
    assert main(["install", "--port", board.port, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def refusal(board, capsys):
    """The one-line error of an install that failed."""
    assert main(["install", "--port", board.port, "--quiet"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and err.startswith("coilcount: ")
    return err


def test_every_file_arrives_whole_and_the_board_sends_its_hello(first_install):
    _, lines, files = first_install
    assert lines[0].endswith("/lib/coilwire/__init__.py") and lines[-4].endswith("/main.py")
    assert "files written, 0 were there already" in lines[-3]
    assert lines[-2].startswith(f"firmware {__version__} on ") and "MicroPython" in lines[-2]
    assert lines[-1].startswith(f"coilcount {__version__} here")
    folders = {"/": firmware_folder(), "/lib/coilwire/": coilwire_folder(), "/lib/coiltrack/": tracker_folder()}
    wanted = {to + path.name: path.read_bytes() for to, folder in folders.items() for path in folder.glob("*.py")}
    # The loop kept its settings file; everything else is what was sent.
    assert {path: data for path, data in files.items() if "settings" not in path} == wanted


def test_a_running_board_is_interrupted_and_only_changed_files_are_written(ready, capsys):
    first = installed(ready, capsys)
    assert first["written"] == [] and first["skipped"] == len(install.board_files())
    assert (first["firmware"], first["coilcount"], first["uid"]) == (__version__, __version__, "REPL1")
    # The board is in its loop again.
    put(ready, "/lib/coilwire/frame.py", b"torn")
    again = installed(ready, capsys)
    assert again["written"] == ["/lib/coilwire/frame.py", "/main.py"] and again["kept"] is None
    assert ready.starts == 3


def test_a_pulled_plug_leaves_a_board_that_runs_nothing_and_can_be_installed_again(board, capsys):
    board.cut_after = sum(len(file.data) for file in install.board_files()) / 2
    assert "the board went away" in refusal(board, capsys)
    assert "/main.py" not in on_board(board)
    assert installed(board, capsys)["skipped"] > 5


def test_ctrl_c_in_the_middle_leaves_a_board_that_runs_nothing(ready, capsys, monkeypatch):
    def stop(self, path, data, progress):
        # In raw-paste mode a MicroPython on a PC, unlike a chip, hears no Ctrl-C.
        self._transport.use_raw_paste = False
        self._transport.exec_raw_no_follow("import time\ntime.sleep(60)")
        raise KeyboardInterrupt

    put(ready, "/lib/coilwire/frame.py", b"torn")
    monkeypatch.setattr(repl.Repl, "write", stop)
    assert main(["install", "--port", ready.port, "--quiet"]) == 130
    assert capsys.readouterr().err == "coilcount: interrupted\n"
    monkeypatch.undo()
    assert "/main.py" not in on_board(ready)
    assert installed(ready, capsys)["written"] == ["/lib/coilwire/frame.py", "/main.py"]


def test_a_main_py_of_the_owner_is_kept(board):
    put(board, "/main.py", b"print('my own')\n")
    files = [install.BoardFile("/lib/coilwire/x.py", b"x = 1\n"), install.BoardFile("/main.py", b"import x\n")]
    kept = []
    for main_text in (b"import x\n", b"import x, y\n"):
        files[1] = install.BoardFile("/main.py", main_text)
        with repl.interrupted(board.port) as prompt:
            kept.append(install.install(prompt, files, lambda path, done, total: None).kept)
    assert kept == ["/main.py.before", ""]
    assert on_board(board) == {
        "/main.py.before": b"print('my own')\n",
        "/lib/coilwire/x.py": b"x = 1\n",
        "/main.py": b"import x, y\n",
    }


def test_no_space_is_reported_before_anything_changes(tmp_path, capsys, monkeypatch):
    with ReplBoard(tmp_path / "small", kilobytes=64) as board:
        put(board, "/main.py", b"mine")
        said = refusal(board, capsys)
        assert "no space on the board: " in said and "kB needed" in said and "Remove files" in said
        assert on_board(board) == {"/main.py": b"mine"}
        # If the computed size was too small, LittleFS itself raises the error.
        survey = install._survey
        monkeypatch.setattr(install, "_survey", lambda *args: (survey(*args)[0], [4096, 1000], survey(*args)[2]))
        assert "no space on the board (" in refusal(board, capsys)


def test_a_port_without_micropython_is_left_alone(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(repl, "INTERRUPT_S", 0.6)
    program = ["/bin/sh", "-c", "while :; do echo 'T 21.5 C'; sleep 0.05; done"]
    with ReplBoard(tmp_path / "flash", command=program) as board:
        said = refusal(board, capsys)
    assert "no MicroPython answers" in said and "T 21.5 C" in said and "BOOTSEL" in said


def test_an_old_micropython_is_refused(board, capsys, monkeypatch):
    monkeypatch.setattr(install, "OLDEST", (99, 1))
    assert "99.1 or newer is needed" in refusal(board, capsys)
    assert on_board(board) == {}


def test_a_board_that_does_not_start_is_reported(ready, capsys, monkeypatch):
    monkeypatch.setattr(install, "HELLO_S", 0.0)
    monkeypatch.setattr(link, "FOREIGN_S", 0.3)
    whole = install.board_files
    broken = install.BoardFile("/app.py", b"raise RuntimeError('broken')\n")
    monkeypatch.setattr(install, "board_files", lambda: [broken, *[f for f in whole() if f.path != "/app.py"]])
    said = refusal(ready, capsys)
    assert "the files are on the board, but it does not start" in said


def test_a_port_is_chosen_only_if_one_board_is_connected():
    pico = Port("/dev/ttyACM0", "2E8A:0005", "E1")
    other = Port("/dev/ttyUSB0", "0403:6001", "F1")
    assert install.choose(listing=lambda: [other, pico]) == pico.device
    assert install.choose("e1", listing=lambda: [other, pico]) == pico.device
    with pytest.raises(DeviceError, match="2 boards are connected") as caught:
        install.choose(listing=lambda: [pico, Port("/dev/ttyACM1", "2E8A:0005", "E2")])
    assert "E1" in str(caught.value) and "E2" in str(caught.value)
    with pytest.raises(DeviceError, match="no board found") as caught:
        install.choose(listing=lambda: [other])
    assert "/dev/ttyUSB0" in str(caught.value) and "--port" in str(caught.value)


def test_the_hash_is_sha256():
    # FIPS 180-2, appendix B.1: the message "abc" (from memory); hashlib beside it.
    file = install.BoardFile("/x", b"abc")
    assert file.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert file.sha256 == hashlib.sha256(b"abc").hexdigest()
