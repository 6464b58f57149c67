"""Runs the circuits of firmware/hardware under ngspice and measures their waveforms.  Times are s, voltages V."""

import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest

HARDWARE = Path(__file__).resolve().parents[2] / "firmware" / "hardware"
NO_NGSPICE = "needs the circuit simulator ngspice: apt-get install ngspice"
needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason=NO_NGSPICE)


@cache
def run(
    deck: str,
    probes: tuple[str, ...],
    stop_s: float,
    step_s: float = 2e-7,
    start_s: float = 0.0,
    celsius: float = 27.0,
    folder: Path = HARDWARE,
    initial: bool = True,
) -> MappingProxyType[str, np.ndarray]:
    """Run a transient analysis and return the probed vectors over time, and "time" itself.

    deck: lines of a netlist; every netlist of `folder` is included.  probes: vectors of ngspice, such as "v(a)".
    step_s: longest step; the trapezoidal rule makes a sine slower by (2 pi f step)^2 / 12, which is 80 ppm at 25 kHz
    and 200 ns.  start_s: earlier points are not returned.  initial: start from zero everywhere, as if the supply were
    switched on at 0 s.  Raises RuntimeError if ngspice fails or stops early.
    """
    with tempfile.TemporaryDirectory() as scratch:
        raw = Path(scratch) / "out.raw"
        includes = "\n".join(f".include {path}" for path in sorted(folder.glob("*.lib")) + sorted(folder.glob("*.cir")))
        text = f"""* made by a test
{includes}
{deck}
.options reltol=1e-4 abstol=1e-10 vntol=1e-7 trtol=3 temp={celsius}
.save {" ".join(probes)}
.control
set numdgt=12
setseed 1
set filetype=binary
tran {step_s} {stop_s} {start_s} {step_s}{" uic" if initial else ""}
write {raw} {" ".join(probes)}
.endc
.end
"""
        path = Path(scratch) / "deck.cir"
        path.write_text(text, encoding="utf-8")
        done = subprocess.run(
            ["ngspice", "-b", path.name], cwd=scratch, capture_output=True, text=True, timeout=300, check=False
        )
        if not raw.exists():
            raise RuntimeError(f"ngspice failed:\n{done.stdout[-1500:]}\n{done.stderr[-1500:]}\n{deck}")
        found = _read_raw(raw, probes)
    if found["time"][-1] < 0.999 * stop_s:
        raise RuntimeError(f"ngspice stopped at {found['time'][-1]} s:\n{done.stderr[-1500:]}")
    return found


def _read_raw(path: Path, probes: tuple[str, ...]) -> MappingProxyType[str, np.ndarray]:
    header, _, data = path.read_bytes().partition(b"Binary:\n")
    names = [line.split()[1] for line in header.decode().partition("Variables:\n")[2].strip().splitlines()]
    table = np.frombuffer(data, dtype=np.float64).reshape(-1, len(names))
    found = {name: table[:, k] for k, name in enumerate(names)}
    return MappingProxyType({"time": found["time"]} | {probe: table[:, 1 + k] for k, probe in enumerate(probes)})


def edges(time_s: np.ndarray, signal: np.ndarray, level: float = 0.0, rising: bool = True) -> np.ndarray:
    """Return the times at which the signal crosses `level`, interpolated between the points."""
    low = signal < level if rising else signal > level
    k = np.flatnonzero(low[:-1] & ~low[1:])
    part = (level - signal[k]) / (signal[k + 1] - signal[k])
    return time_s[k] + part * (time_s[k + 1] - time_s[k])


def frequency_hz(time_s: np.ndarray, signal: np.ndarray, level: float = 0.0) -> float:
    """Return the mean frequency between the first and the last rising crossing of `level`."""
    crossings = edges(time_s, signal, level)
    assert len(crossings) > 5, "it does not oscillate"
    return (len(crossings) - 1) / (crossings[-1] - crossings[0])


def mean(time_s: np.ndarray, signal: np.ndarray) -> float:
    """Return the mean over time, for points at unequal distances."""
    return float(np.trapezoid(signal, time_s) / (time_s[-1] - time_s[0]))


def peak_v(time_s: np.ndarray, signal: np.ndarray) -> float:
    """Return the amplitude of the fundamental: the signal's sum with a sine over whole periods."""
    crossings = edges(time_s, signal)
    assert len(crossings) > 5, "it does not oscillate"
    start, end = crossings[0], crossings[-1]
    angle = 2 * np.pi * (len(crossings) - 1) / (end - start)
    grid = np.linspace(start, end, 64 * (len(crossings) - 1), endpoint=False)
    value = np.interp(grid, time_s, signal)
    return float(2 * abs(np.mean(value * np.exp(-1j * angle * (grid - start)))))
