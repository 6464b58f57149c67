"""Round wire, single or stranded: gauge, resistance, skin effect."""

import re
from dataclasses import dataclass
from math import pi, sqrt

from coilcount.physics.constants import MATERIALS
from coilcount.physics.eddy import round_ratio

COPPER = MATERIALS["copper"].conductivity
MOST_STRANDS = 2000
# Diameter of a twisted bundle over sqrt(strands) times the diameter of one insulated strand.  1.155 is the makers'
# usual packing factor of litz, from memory; the enamel of a thin strand adds about 11 %, an engineering estimate.
PACKING = 1.155
ENAMEL = 1.11
# Length of a strand over the length of its bundle, by the twist.  Engineering estimate.
TWIST = 1.02
_NUMBER = r"(\d{1,4}(?:\.\d{1,6})?|\.\d{1,6})"
_SIZE = rf"(?:(\d{{1,2}})\s*AWG|AWG\s*(\d{{1,2}})|{_NUMBER}\s*(mm|um|µm|μm|in))"
_WIRE = re.compile(rf"\s*(?:(\d{{1,4}})\s*[x×*]\s*)?{_SIZE}\s*", re.IGNORECASE)
_UNIT_M = {"mm": 1e-3, "um": 1e-6, "µm": 1e-6, "μm": 1e-6, "in": 25.4e-3}


@dataclass(frozen=True, slots=True)
class Wire:
    """A wire of one or more strands, each bare copper of strand_m in diameter.

    The strands of a litz wire, or wires laid side by side and twisted, share the current evenly.
    """

    strand_m: float
    strands: int = 1

    @property
    def diameter_m(self) -> float:
        """The diameter in m: bare for a single wire; of the bundle, with the enamel inside it, for a stranded one."""
        if self.strands == 1:
            return self.strand_m
        # Two or three strands leave more room unused than the packing factor says.
        return max(PACKING * sqrt(self.strands), {2: 2.0, 3: 2.155}.get(self.strands, 0.0)) * ENAMEL * self.strand_m

    @property
    def copper_m2(self) -> float:
        """The cross-section of the copper in m^2."""
        return self.strands * pi / 4 * self.strand_m**2

    @property
    def length_factor(self) -> float:
        """The length of a strand over the length of the wire."""
        return 1.0 if self.strands == 1 else TWIST


def awg_diameter_m(gauge: int) -> float:
    """Compute the bare diameter in m of an American wire gauge from 0 to 50.

    Source: ASTM B258, 5 mil at gauge 36 and a factor of 92 over 39 steps.  Raises ValueError for another gauge.
    """
    if not 0 <= gauge <= 50:
        raise ValueError(f"no wire gauge {gauge}: give 0 to 50")
    return 0.127e-3 * 92 ** ((36 - gauge) / 39)


def read_wire(text: str) -> Wire:
    """Read a wire such as "26 AWG", "0.4 mm", "20x0.1mm" (20 strands) or "2 x 26 AWG".

    Raises ValueError if `text` is no wire.
    """
    found = _WIRE.fullmatch(text)
    if found is None:
        if re.search(r"\d,\d", text):
            dotted = re.sub(r"(\d),(\d)", r"\1.\2", text)
            raise ValueError(f'"{text}" is no wire size: write a decimal point instead of the comma, "{dotted}"')
        raise ValueError(f'"{text}" is no wire size: write it as "26 AWG", "0.4 mm" or, with strands, "20x0.1mm"')
    count, gauge, gauge_after, number, unit = found.groups()
    if gauge or gauge_after:
        strand = awg_diameter_m(int(gauge or gauge_after))
    else:
        strand = float(number) * _UNIT_M[unit.lower()]
    if not 1e-5 <= strand <= 0.1:
        raise ValueError(f'the wire "{text}" is {strand * 1e3:g} mm thick: it must lie between 0.01 and 100 mm')
    strands = 1 if count is None else int(count)
    if not 1 <= strands <= MOST_STRANDS:
        raise ValueError(f'the wire "{text}" has {strands} strands: give 1 to {MOST_STRANDS}')
    return Wire(strand, strands)


def parse_wire(text: str) -> float:
    """Read the diameter in m of a wire: bare, or of the whole bundle if it is stranded.  Raises ValueError."""
    return read_wire(text).diameter_m


def dc_resistance_ohm(length_m: float, diameter_m: float, conductivity: float = COPPER) -> float:
    """Compute the resistance in ohm of a straight round wire at 20 C."""
    if length_m < 0 or diameter_m <= 0 or conductivity <= 0:
        raise ValueError("length, diameter and conductivity must be positive")
    return length_m / (conductivity * pi * diameter_m**2 / 4)


def skin_factor(diameter_m: float, frequency_hz: float, conductivity: float = COPPER, mu_r: float = 1.0) -> float:
    """Compute R_ac/R_dc of a straight round wire far from any other wire (no proximity effect)."""
    return round_ratio(diameter_m / 2, frequency_hz, conductivity, mu_r).real
