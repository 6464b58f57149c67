"""The dielectrics of capacitors: their temperature coefficient and their loss."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Dielectric:
    """low_per_k, high_per_k: relative change of the capacitance in 1/K; loss: dissipation factor at 25 kHz."""

    low_per_k: float
    high_per_k: float
    loss: float

    @property
    def middle_per_k(self) -> float:
        """The middle of the temperature coefficients, in 1/K."""
        return (self.low_per_k + self.high_per_k) / 2


# From makers' comparison tables, quoted from memory.  The ranges over temperature agree with published ones: C0G
# +-0.3 % and polypropylene +-2.5 % from -55 to 125 and 105 C, polyester +-5 %, X7R +-15 %.  X7R has no linear
# coefficient; 15 % in 100 K is taken.
DIELECTRICS = {
    "C0G": Dielectric(-30e-6, 30e-6, 1.0e-3),
    "polypropylene": Dielectric(-300e-6, -200e-6, 1.2e-3),
    "polyester": Dielectric(400e-6, 600e-6, 2.0e-2),
    "X7R": Dielectric(-1500e-6, 1500e-6, 2.5e-2),
}
CABLE_LOSS = 1e-3  # dissipation factor of a polyethylene cable with its plugs; PVC is 20 times worse.  An estimate
STRAY_LOSS = 1e-2  # of the winding's own capacitance: enamel, former, damp.  Engineering estimate
