"""What `coilcount plan` computes about building the coil: cable, shield, drift, an object off the axis, warnings."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CableFigures:
    """What the cable adds to the tank.  shift_hz: change of the frequency by all of it."""

    length_m: float
    capacitance_pf: float
    inductance_uh: float  # 0 if the capacitor sits at the coil
    resistance_ohm: float  # 0 if the capacitor sits at the coil
    capacitor_in_head: bool
    shift_hz: float


@dataclass(frozen=True, slots=True)
class ShieldFigures:
    """What a slotted shield adds to the tank.  shift_hz: change of the frequency by all of it."""

    material: str
    gap_mm: float
    thickness_um: float
    capacitance_pf: float
    inductance_uh: float  # negative
    resistance_ohm: float
    shift_hz: float


@dataclass(frozen=True, slots=True)
class DriftFigures:
    """How temperature and supply move frequency and amplitude.  Triples are (lowest, middle, highest)."""

    former_ppm_per_k: float
    copper_ppm_per_k: float
    capacitor_ppm_per_k: tuple[float, float, float]
    oscillator_ppm_per_k: float
    temperature_ppm_per_k: tuple[float, float, float]  # everything together
    temperature_hz_per_k: tuple[float, float, float]
    amplitude_percent_per_k: float
    resistance_percent_per_k: float
    loop_gain: float  # over the least gain that sustains the oscillation
    supply_ppm_per_percent: float  # of an oscillator whose gain follows its supply, by formula; scenes use it
    supply_hz_per_percent: float
    pair_supply_ppm_per_percent: float  # of the default oscillator, by circuit simulation


@dataclass(frozen=True, slots=True)
class OffsetFigures:
    """The shift of small objects off the axis of a tilted coil, over that of a centred level coil."""

    offset_cm: float
    tilt_deg: float
    under_coil_cm: float  # distance of the object below the middle of the coil
    flat: float  # a flat disc
    ball: float
    lying_rod: float  # over that of a centred ball of the same response


@dataclass(frozen=True, slots=True)
class PlanWarning:
    """What a builder should change before winding."""

    what: str
    why: str
    change: str
