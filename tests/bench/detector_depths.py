"""Writes host/coilcount/plan/detector_depths.json, from which `coilcount plan` knows how deep the tracker finds a coin.

The depths come from the figures.json of the detection benchmark.  The noise of each test condition and the shift of
the coin at these depths are computed here with the benchmark's own scenes.  All data are simulated.

    python tests/bench/detection --picture tests/bench/detection     # runs the benchmark and keeps figures.json
    python tests/bench/detector_depths.py                            # writes the file of the plan from it
    python tests/bench/detector_depths.py --figures OTHER.json --out OTHER.json
"""

import argparse
import json
import re
import sys
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import piped
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.dprime import readings
from coilcount.simulate.scene import Scene, Target
from coilcount.simulate.signal import components
from scipy.signal import detrend

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE / "detection"))
from conditions import CONDITIONS, scene_of  # noqa: E402 - the benchmark's folder is no package
from depth import COIN, GROUNDS  # noqa: E402
from picture import SOILS  # noqa: E402

FIGURES = HERE / "detection" / "figures.json"
OUT = HERE.parents[1] / "host" / "coilcount" / "plan" / "detector_depths.json"
# Key of the file: name in the figures.  The tracker has been swept for a while.
METHODS = {"tracker": "warm", "profile": "profile", "bound": "bound"}
ABOUT = (
    "How deep the tracker finds a 24 mm copper coin in half of the passes, at 1 false alarm a minute, and the noise of "
    "these test conditions. Written by tests/bench/detector_depths.py: do not edit. _cm: depth of the coin below the "
    "surface of the soil; _ppm: its peak shift there; _ppm_rthz: density of the noise. tracker: the tracker alone; "
    "profile: with a noise profile of the soil; bound: the best possible filter."
)
INTERVAL_MS = 20
SEGMENT = 600  # readings, 12 s, as the benchmark's own spectra have
RUNS = 8  # scenes of two minutes for each spectrum
FIRST_SEED = 880_000
LOWEST_HZ, HIGHEST_HZ, BANDS = 0.25, 8.0, 15  # of the spectra; a pass lasts 0.1 to 1 s


def least_shift_ppm(scene: Scene, coil: CoilModel, depth_cm: float) -> float:
    """Compute the median peak shift in ppm of the benchmark's passes over its coin at one depth.

    Offset, tilt and turn of the coin are spread evenly over the ranges of `target_of`.
    """
    along_m = np.linspace(-0.15, 0.15, 61)
    down_m = np.full_like(along_m, (scene.sweep.height_cm + depth_cm) / 100)
    peaks = []
    for offset_cm in np.arange(0.25, 5, 0.5):
        for tilt_deg in np.linspace(COIN.least_tilt, COIN.most_tilt, 6)[1::2]:
            for turn_deg in (-150, -90, -30, 30, 90, 150):
                target = Target(
                    object=COIN.name, shape=COIN.shape, metal=COIN.metal, diameter_mm=COIN.diameter_mm,
                    thickness_mm=COIN.thickness_mm, depth_cm=depth_cm, offset_cm=float(offset_cm),
                    tilt_deg=float(tilt_deg), turn_deg=turn_deg, at_s=(1.0,),
                )  # fmt: skip
                peaks.append(np.abs(coil.object_shift(target, along_m, down_m)[0]).max())
    return float(np.median(peaks) * 1e6)


def density_ppm_rthz(series: list[np.ndarray], centres_hz: np.ndarray) -> list[float]:
    """Compute the one-sided spectral density of relative readings in ppm/sqrt(Hz) near some frequencies.

    Welch's method with segments of 12 s; the mean over the lines nearest to each frequency.
    """
    window = np.hanning(SEGMENT)
    power = []
    for y in series:
        for start in range(0, len(y) - SEGMENT + 1, SEGMENT // 2):
            part = detrend(y[start : start + SEGMENT]) * window
            power.append(2 * INTERVAL_MS / 1000 * np.abs(np.fft.rfft(part)) ** 2 / np.sum(window**2))
    frequency, mean = np.fft.rfftfreq(SEGMENT, INTERVAL_MS / 1000), np.mean(power, axis=0)
    edges = np.sqrt(centres_hz[1:] * centres_hz[:-1])
    band = np.searchsorted(edges, frequency[1:])
    inside = (frequency[1:] >= centres_hz[0] * 0.8) & (frequency[1:] <= centres_hz[-1] * 1.2)
    means = [mean[1:][inside & (band == i)].mean() for i in range(len(centres_hz))]
    return [float(f"{value:.3g}") for value in np.sqrt(means) * 1e6]


def depth_cm(found: dict, key: str) -> float:
    """Return the depth in cm of a key of the file, from the figures of one test condition."""
    return found[METHODS[key]]["cm"]


def conditions_with_soil() -> list[str]:
    return [name for name in GROUNDS if CONDITIONS[name].ground.chi > 0]


def soil_of(condition: str, found: dict, centres_hz: np.ndarray) -> dict:
    """Return the entry of one test condition; found: its figures."""
    kind = CONDITIONS[condition]
    depths_cm = {key: depth_cm(found, key) for key in METHODS}
    hand, patches, weather = [], [], []
    for i in range(RUNS):
        scene = scene_of(kind, FIRST_SEED + i, False, False)
        smooth = replace(scene, ground=replace(scene.ground, variation=0.0))
        steady = replace(scene, ground=replace(scene.ground, wobble_cm=0.0))
        parts = components(smooth, scene.seed, ("ground", "temperature", "supply"))
        hand.append(readings(parts["ground"], INTERVAL_MS))
        weather.append(readings(parts["temperature"] + parts["supply"], INTERVAL_MS))
        patches.append(readings(components(steady, scene.seed, ("ground",))["ground"], INTERVAL_MS))
    coil = CoilModel(scene)
    return {
        "condition": condition,
        "name": SOILS.get(condition, condition),
        "susceptibility": kind.ground.chi,
        "wobble_cm": kind.ground.wobble_cm,
        "speed_m_s": (kind.slowest + kind.fastest) / 2,
        **{f"{key}_cm": round(cm, 2) for key, cm in depths_cm.items()},
        **{f"{key}_ppm": round(least_shift_ppm(scene, coil, cm), 3) for key, cm in depths_cm.items()},
        "hand_ppm_rthz": density_ppm_rthz(hand, centres_hz),
        "patches_ppm_rthz": density_ppm_rthz(patches, centres_hz),
        "weather_ppm_rthz": density_ppm_rthz(weather, centres_hz),
    }


def document_of(figures: dict) -> dict:
    """Return the content of the file, from the benchmark's figures."""
    depth = figures["depth"]
    scene = scene_of(CONDITIONS[GROUNDS[0]], 0, False, False)
    centres_hz = np.geomspace(LOWEST_HZ, HIGHEST_HZ, BANDS)
    return {
        "about": ABOUT,
        "basis": "simulation",
        "object": COIN.name,
        "minutes_with_objects": depth["swept_minutes"],
        "minutes_without_objects": depth["clean_minutes"],
        "height_cm": scene.sweep.height_cm,
        "coil": {key: value for key, value in asdict(scene.coil).items() if value is not None},
        "frequency_hz": [float(f"{value:.3g}") for value in centres_hz],
        "soils": [soil_of(condition, depth["grounds"][condition], centres_hz) for condition in conditions_with_soil()],
    }


def text_of(document: dict) -> str:
    """Return the document as JSON with one list of numbers a line."""
    text = json.dumps(document, indent=1)
    return re.sub(r"\[[^\[\]{}\"]+\]", lambda found: "[" + " ".join(found[0][1:-1].split()) + "]", text) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(prog="python tests/bench/detector_depths.py", description=__doc__.splitlines()[0])
    parser.add_argument("--figures", type=Path, default=FIGURES, help="figures.json of the detection benchmark")
    parser.add_argument("--out", type=Path, default=OUT, help="the file to write; an older one is replaced")
    options = parser.parse_args()
    if not options.figures.is_file():
        parser.error(f"there is no file {options.figures}; tests/bench/detection --picture DIR writes DIR/figures.json")
    figures = json.loads(options.figures.read_text(encoding="utf-8"))
    if "depth" not in figures:
        parser.error(f"{options.figures} holds no depths; run the benchmark without --only, or with --only depth")
    options.out.write_text(text_of(document_of(figures)), encoding="utf-8")
    print(f"wrote {options.out}")


if __name__ == "__main__":
    piped.run(main)
