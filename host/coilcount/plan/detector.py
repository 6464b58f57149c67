"""What the benchmark says about the tracker: how deep it finds a coin in four soils, and the noise there.

All of it is simulation.  tests/bench/detector_depths.py writes the file from the figures of tests/bench/detection.
"""

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from coilcount.physics.tank import Tank, make_tank
from coilcount.schema.coil import Coil
from coilcount.schema.tables import read_table

FILE = Path(__file__).with_name("detector_depths.json")
METHODS = ("tracker", "profile", "bound")


@dataclass(frozen=True, eq=False)
class TestSoil:
    """One test condition of the benchmark.

    depth_cm: by method, the depth of the coin below the surface at which half of the passes are found; least_ppm: by
    method, the peak shift of the coin at this depth.  The noise densities are in ppm/sqrt(Hz), one for each frequency
    of the `Detector`: by the hand (the height varies), by patches of the soil, and by weather and supply.
    """

    __test__ = False  # the name is no test of pytest
    condition: str
    name: str
    susceptibility: float
    wobble_cm: float
    speed_m_s: float
    depth_cm: dict[str, float]
    least_ppm: dict[str, float]
    hand_ppm_rthz: NDArray
    patches_ppm_rthz: NDArray
    weather_ppm_rthz: NDArray


@dataclass(frozen=True, eq=False)
class Detector:
    """The benchmark's coil and soils."""

    object: str
    minutes_with_objects: float
    height_cm: float
    coil: Coil
    tank: Tank
    frequency_hz: NDArray
    soils: tuple[TestSoil, ...]


@lru_cache(maxsize=1)
def read_detector() -> Detector:
    """Read the file that is kept beside this module."""
    raw = json.loads(FILE.read_text(encoding="utf-8"))
    coil = read_table(Coil, raw["coil"], str(FILE))
    soils = tuple(
        TestSoil(
            **{name: row[name] for name in ("condition", "name", "susceptibility", "wobble_cm", "speed_m_s")},
            depth_cm={method: row[f"{method}_cm"] for method in METHODS},
            least_ppm={method: row[f"{method}_ppm"] for method in METHODS},
            **{f"{part}_ppm_rthz": np.array(row[f"{part}_ppm_rthz"]) for part in ("hand", "patches", "weather")},
        )
        for row in raw["soils"]
    )
    return Detector(
        object=raw["object"],
        minutes_with_objects=raw["minutes_with_objects"],
        height_cm=raw["height_cm"],
        coil=coil,
        tank=make_tank(**coil.si()),
        frequency_hz=np.array(raw["frequency_hz"]),
        soils=soils,
    )
