"""How temperature and supply move the frequency and the amplitude of a tank.

`plan` prints these figures, and `simulate` moves the frequency by them.
"""

from dataclasses import dataclass
from math import pi

from coilcount.physics.coil import wire_impedance
from coilcount.physics.constants import COPPER_TEMPERATURE_COEFFICIENT
from coilcount.physics.dielectric import DIELECTRICS
from coilcount.physics.oscillator import FORMER_EXPANSION, supply_pushing, temperature_coefficient
from coilcount.physics.tank import Tank
from coilcount.physics.winding import Winding
from coilcount.physics.wire import COPPER

# 1/K.  Transistors of the default oscillator: 10 K warmer made it 4.8 ppm slower in a circuit simulation.
DEVICES_PER_K = -0.48e-6
_STEP = 1e-3  # relative step of the resistivity for the slopes; chosen by hand


@dataclass(frozen=True, slots=True)
class Drift:
    """Relative changes, all in 1/K except the last.

    size_per_k: by the expansion of the former; copper_per_k: by the resistance of the copper and its eddy currents;
    capacitor_per_k: (low, middle, high) by the capacitor; devices_per_k: by the transistors;
    resistance_per_k: of the coil's resistance; amplitude_per_k: of the tank's voltage;
    supply: of the frequency, over the relative change of the supply voltage.
    """

    size_per_k: float
    copper_per_k: float
    capacitor_per_k: tuple[float, float, float]
    devices_per_k: float
    resistance_per_k: float
    amplitude_per_k: float
    supply: float

    @property
    def coil_per_k(self) -> float:
        """Frequency change by the coil alone, 1/K."""
        return self.size_per_k + self.copper_per_k

    @property
    def total_per_k(self) -> tuple[float, float, float]:
        """Frequency change by everything together, 1/K: (low, middle, high) as the capacitor may be."""
        low, middle, high = (self.coil_per_k + self.devices_per_k + part for part in self.capacitor_per_k)
        return low, middle, high


def drift(tank: Tank, former: str, dielectric: str, loop_gain: float) -> Drift:
    """Compute the drift of a tank.

    former, dielectric: words of `FORMER_EXPANSION` and `DIELECTRICS`; loop_gain: see `supply_pushing`.

    The resistance of copper rises by 0.393 % per kelvin.  Loss by eddy currents in thin wire then falls, in thick wire
    it rises.  And weaker eddy currents push less field out of thick wire, so the inductance rises.  Both slopes are
    taken from the winding's impedance at a slightly higher resistivity.
    """
    resistance_slope, inductance_slope_h = resistivity_slopes(tank.winding, tank.frequency_hz)
    resistance_per_k = COPPER_TEMPERATURE_COEFFICIENT * resistance_slope
    copper = temperature_coefficient(tank.q, 0.0, 0.0, resistance_per_k)
    copper -= COPPER_TEMPERATURE_COEFFICIENT * inductance_slope_h / tank.inductance_h / 2
    of = DIELECTRICS[dielectric]
    share = tank.capacitor_f / tank.capacitance_f
    by_capacitor = [-share * slope / 2 for slope in (of.high_per_k, of.middle_per_k, of.low_per_k)]
    return Drift(
        size_per_k=temperature_coefficient(tank.q, FORMER_EXPANSION[former], 0.0, 0.0),
        copper_per_k=copper,
        capacitor_per_k=(by_capacitor[0], by_capacitor[1], by_capacitor[2]),
        devices_per_k=DEVICES_PER_K,
        resistance_per_k=resistance_per_k,
        amplitude_per_k=-resistance_per_k * tank.coil_share,
        supply=supply_pushing(tank.q_tank, loop_gain),
    )


def resistivity_slopes(winding: Winding, frequency_hz: float) -> tuple[float, float]:
    """Compute d ln R / d ln(resistivity) and, in H, dL / d ln(resistivity) of a winding of copper."""
    cold = wire_impedance(winding, frequency_hz)
    warm = wire_impedance(winding, frequency_hz, COPPER / (1 + _STEP))
    w = 2 * pi * frequency_hz
    return (warm.real / cold.real - 1) / _STEP, (warm.imag - cold.imag) / w / _STEP
