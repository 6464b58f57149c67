"""Physical constants, and the materials of targets and wire."""

from dataclasses import dataclass
from math import pi

# All published inductance tables that are used here were computed with this value.  Since 2019 mu0 is a measured
# quantity; it differs by 1.3e-10 (relative), far less than the tolerance of any coil's dimensions.
MU0 = 4e-7 * pi  # H/m

COPPER_TEMPERATURE_COEFFICIENT = 0.00393  # 1/K of resistance at 20 C, IEC 60028
COPPER_EXPANSION = 17e-6  # 1/K, IEC 60028 and handbooks


@dataclass(frozen=True, slots=True)
class Material:
    """conductivity: S/m at 20 C; mu_r: relative permeability for small fields around 25 kHz."""

    conductivity: float
    mu_r: float = 1.0


# Conductivities are rounded handbook values, quoted from memory; that of copper is from IEC 60028.  Alloys differ by
# tens of per cent.  The mu_r of steel is that at 25 kHz; `permeability` has it at other frequencies.
MATERIALS = {
    "copper": Material(58.0e6),
    "silver": Material(63.0e6),
    "gold": Material(45.0e6),
    "gold-alloy": Material(10.0e6),  # 9 to 18 carat, coloured with copper and silver
    "aluminium": Material(37.7e6),
    "aluminium-foil": Material(35.0e6),  # thin rolled aluminium, a little below the solid metal
    "brass": Material(16.0e6),
    "bronze": Material(7.5e6),
    "zinc": Material(16.6e6),
    "tin": Material(8.7e6),
    "lead": Material(4.8e6),
    "cupronickel": Material(3.1e6),
    "titanium": Material(2.4e6),
    "stainless": Material(1.39e6, 1.005),  # austenitic, not cold-worked
    "steel": Material(6.0e6, 96.8),
    "iron": Material(10.0e6, 500.0),  # soft, annealed
    "nickel": Material(14.3e6, 100.0),
    "ferrite": Material(1.0, 1000.0),  # practically an insulator
}

# Relative permeability of mild steel (type 1018) in a small field: 280 at 1 to 10 Hz, about 90 at 100 kHz, relaxation
# near 5 kHz (N. Bowler, "Frequency-dependence of relative permeability in steel", AIP Conf. Proc. 820 (2006) 1269).
STEEL_MU_LOW, STEEL_MU_HIGH, STEEL_RELAXATION_HZ = 280.0, 89.5, 5e3


def permeability(metal: str, frequency_hz: float) -> float:
    """Compute the relative permeability of a metal of MATERIALS in a small field at a frequency.

    Steel: a single relaxation, mu = high + (low - high)/(1 + (f/f_relaxation)^2), through the published values above.
    Its lossy part is left out.  The alloy and the working of a steel change mu by a factor of 2.  For soft iron and
    nickel no published course was found: their mu is the same at every frequency.
    """
    if metal != "steel":
        return MATERIALS[metal].mu_r
    return STEEL_MU_HIGH + (STEEL_MU_LOW - STEEL_MU_HIGH) / (1 + (frequency_hz / STEEL_RELAXATION_HZ) ** 2)
