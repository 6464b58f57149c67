"""Round wire: gauge, resistance, skin effect."""

import re
from math import pi

from coilcount.physics.constants import MATERIALS
from coilcount.physics.eddy import round_ratio

COPPER = MATERIALS["copper"].conductivity


def awg_diameter_m(gauge: int) -> float:
    """Compute the bare diameter in m of an American wire gauge from 0 to 50.

    Source: ASTM B258, 5 mil at gauge 36 and a factor of 92 over 39 steps.  Raises ValueError for another gauge.
    """
    if not 0 <= gauge <= 50:
        raise ValueError(f"no wire gauge {gauge}: give 0 to 50")
    return 0.127e-3 * 92 ** ((36 - gauge) / 39)


def parse_wire(text: str) -> float:
    """Read the bare diameter in m from "26 AWG" or "0.4 mm".  Raises ValueError if `text` is neither."""
    gauge = re.fullmatch(r"\s*(\d{1,2})\s*AWG\s*", text, re.IGNORECASE)
    if gauge:
        return awg_diameter_m(int(gauge[1]))
    metric = re.fullmatch(r"\s*(\d{1,3}(?:\.\d{1,6})?|\.\d{1,6})\s*mm\s*", text, re.IGNORECASE)
    if not metric or float(metric[1]) <= 0:
        raise ValueError(f'"{text}" is no wire size: write it as "26 AWG" or "0.4 mm"')
    return float(metric[1]) / 1000


def dc_resistance_ohm(length_m: float, diameter_m: float, conductivity: float = COPPER) -> float:
    """Compute the resistance in ohm of a straight round wire at 20 C."""
    if length_m < 0 or diameter_m <= 0 or conductivity <= 0:
        raise ValueError("length, diameter and conductivity must be positive")
    return length_m / (conductivity * pi * diameter_m**2 / 4)


def skin_factor(diameter_m: float, frequency_hz: float, conductivity: float = COPPER, mu_r: float = 1.0) -> float:
    """Compute R_ac/R_dc of a straight round wire far from any other wire (no proximity effect)."""
    return round_ratio(diameter_m / 2, frequency_hz, conductivity, mu_r).real
