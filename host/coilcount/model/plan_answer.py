"""What a plan says about finding: how deep objects are found by one coil, and by several that are compared."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Depth:
    """The depth of an object's nearest surface below the surface of the soil, in cm.

    low_cm and high_cm are the range by winding, Q, soil, hand and oscillator.  None: not found at the surface either.
    """

    depth_cm: float | None
    low_cm: float | None
    high_cm: float | None
    least_ppm: float  # the least peak shift that is found at this depth
    beyond: bool = False  # the object is found at the greatest depth that is computed, so it may be deeper


@dataclass(frozen=True, slots=True)
class PlanSoil:
    """One soil of the benchmark, or the noise that was given."""

    name: str
    condition: str  # the benchmark's name; "" for the noise that was given
    susceptibility: float | None
    wobble_cm: float | None  # rms of the coil's height
    lowering_hz: float | None  # change of the frequency if the coil is lowered from far up to its height
    benchmark_cm: float | None  # depth of the benchmark's coin with the benchmark's own coil


@dataclass(frozen=True, slots=True)
class PlanFound:
    """How deep one object is found; depths: one for each soil of the answer."""

    object: str
    attitude: str
    rises: bool  # it raises the frequency
    depths: tuple[Depth, ...]
    with_profile: tuple[Depth | None, ...]  # with a noise profile of the soil
    typical_noise: tuple[Depth | None, ...]  # with an oscillator of the noise class "typical"


@dataclass(frozen=True, slots=True)
class PlanAnswer:
    """The short answer: the frequency to expect, and how deep common objects are found."""

    frequency_hz: float
    frequency_low_hz: float  # with the tolerances of winding and capacitor
    frequency_high_hz: float
    oscillator: str  # noise class that the depths hold for
    height_cm: float  # of the coil above the surface of the soil
    speed_m_s: float
    false_alarms_per_minute: float
    soils: tuple[PlanSoil, ...]
    found: tuple[PlanFound, ...]
    iron_reads_non_ferrous: tuple[str, ...]  # small iron, as it usually lies


@dataclass(frozen=True, slots=True)
class ComparedCoil:
    """One coil of a comparison."""

    label: str  # such as "20 cm"
    value: float  # the same as a number, for the picture
    diameter_mm: float
    turns: int
    wire: str
    capacitor_nf: float
    frequency_hz: float
    inductance_uh: float
    q_coil: float
    wire_length_m: float
    depths: tuple[Depth, ...]  # one for each soil
    least_ppm: tuple[float, ...]  # least shift that is found over each soil, at the wanted depth
    shift_ppm: float  # of the object at the wanted depth, in a usual pass


@dataclass(frozen=True, slots=True)
class Flat:
    """The range of a value within which the depth is nearly the best one, in one soil."""

    soil: str
    best: float
    low: float
    high: float
    depth_cm: float | None  # at the best value; None: not found at any


@dataclass(frozen=True, slots=True)
class PlanComparison:
    """Several coils that differ in one thing, and how deep each finds an object."""

    name: str  # "diameter", "turns", "wire" or "frequency"
    unit: str
    object: str
    attitude: str
    wanted_cm: float  # depth at which shifts and noise are compared
    height_cm: float
    oscillator: str
    soils: tuple[PlanSoil, ...]
    coils: tuple[ComparedCoil, ...]
    curve: tuple[ComparedCoil, ...]  # the same on a finer grid, for picture and optimum; empty for wire
    flat: tuple[Flat, ...]  # from the curve
    note: str  # what was kept the same
