"""What `coilcount plan` computes about a coil that may not be wound yet.  All of it is computation.

`as_plain` makes the object that `plan --json` prints.  A field whose default is None is left out there if it is None.
"""

from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from typing import Any

from coilcount.model.plan_answer import PlanAnswer
from coilcount.model.plan_build import CableFigures, DriftFigures, OffsetFigures, PlanWarning, ShieldFigures


@dataclass(frozen=True, slots=True)
class CentreTap:
    """Each half of a coil with a centre tap."""

    half_uh: float
    coupling: float


@dataclass(frozen=True, slots=True)
class CoilFigures:
    """The coil.  q_coil is without the loss of the capacitor, q_tank with it."""

    shape: str
    diameter_mm: float  # mean; of an oval or rectangle, the mean length
    width_mm: float  # mean
    inner_diameter_mm: float | None  # of the former; None for an oval or rectangle
    turns: int
    wire: str
    wire_mm: float
    strands: int
    strand_mm: float
    layout: str
    section_mm: float
    inductance_uh: float
    inductance_from: str  # "the turns" or "measurement"
    computed_uh: float
    calibration: float  # measured over computed inductance
    inductance_low_uh: float
    inductance_high_uh: float
    wire_length_m: float
    wire_mass_g: float
    resistance_dc_ohm: float
    resistance_ohm: float
    skin_factor: float
    proximity_factor: float
    q_coil: float
    q_tank: float
    frequency_hz: float
    own_capacitance_pf: tuple[float, float, float]  # lowest, usual, highest
    own_capacitance_from: str  # "an estimate" or "measurement"
    self_capacitance_low_pf: float
    self_capacitance_high_pf: float
    self_resonance_hz: float
    hand_5pf_hz: float  # shift by 5 pF more
    cable: CableFigures | None
    shield: ShieldFigures | None
    centre_tap: CentreTap | None


@dataclass(frozen=True, slots=True)
class CapacitorChoice:
    """Capacitors that give the wanted frequency.  how: "one", "parallel" or "series"."""

    turns: int
    how: str
    parts_nf: tuple[float, ...]
    capacitor_nf: float
    frequency_hz: float
    off_percent: float
    reactance_ohm: float


@dataclass(frozen=True, slots=True)
class DielectricFigures:
    """Drift and loss with one dielectric; the pairs are (lowest, highest)."""

    dielectric: str
    capacitor_ppm_per_k: tuple[float, float]
    capacitor_hz_per_k: tuple[float, float]
    with_coil_ppm_per_k: tuple[float, float]
    q_tank: float
    loss_tangent: float
    remark: str


@dataclass(frozen=True, slots=True)
class CapacitorFigures:
    """The capacitor: tolerance, drift, load, and the values that would do."""

    capacitor_nf: float
    whole_nf: float  # with own capacitance, cable and shield
    dielectric: str
    tolerance_percent: float
    frequency_by_capacitor_hz: tuple[float, float]
    frequency_by_coil_hz: tuple[float, float]
    frequency_by_own_capacitance_hz: tuple[float, float]
    frequency_range_hz: tuple[float, float]  # by all of these causes
    loss_tangent: float
    coil_ppm_per_k: float
    temperature_ppm_per_k: tuple[float, float, float]
    dielectrics: tuple[DielectricFigures, ...]
    peak_v: float
    rms_v: float
    peak_a: float
    rms_a: float
    rated_v: float
    wanted_hz: float | None
    choices: tuple[CapacitorChoice, ...]


@dataclass(frozen=True, slots=True)
class NoiseLevel:
    """The least shift that counts, for one noise class or reason."""

    shift_ppm: float
    shift_hz: float


@dataclass(frozen=True, slots=True)
class TargetFigures:
    """One object in one attitude: at_depth is [Hz, ppm, loss in ppm, phase in degrees]; lists run over distance_cm."""

    object: str
    attitude: str
    iron: bool
    model: str
    note: str  # how far the model may be off, "" if it is good everywhere
    at_depth: tuple[float, ...]
    distance_cm: tuple[float, ...]
    shift_hz: tuple[float, ...]
    shift_ppm: tuple[float, ...]
    d_l_nh: tuple[float, ...]
    d_r_mohm: tuple[float, ...]
    loss_ppm: tuple[float, ...]
    phase_deg: tuple[float, ...]
    depth_cm: dict[str, float | None]  # by noise level
    curve: dict[str, tuple[float, ...]] | None = None  # finer, for the picture


@dataclass(frozen=True, slots=True)
class IronFigures:
    """Where the sign of iron turns, by permeability; words says it in sentences."""

    ball_flip_mm: dict[str, float]
    sheet_flip_hz: dict[str, float | None]
    reads_non_ferrous: tuple[str, ...]
    reads_ferrous: tuple[str, ...]
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BestDiameter:
    depth_cm: float
    best_diameter_cm: float


@dataclass(frozen=True, slots=True)
class PassFigures:
    """Width and duration of a pass over a flat disc or a ball, at half height."""

    depth_cm: float
    object: str
    width_cm: float
    duration_s: float


@dataclass(frozen=True, slots=True)
class SweepFigures:
    """The best diameters, passes, and the settings that follow from them."""

    speed_m_s: float
    best_diameter: tuple[BestDiameter, ...]
    gain_of_best: float  # shift with the best diameter over that with the plan's
    passes: tuple[PassFigures, ...]
    interval_ms: int
    widths_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class GroundRow:
    """One kind of ground: by its susceptibility, or by its conductivity."""

    ground: str
    shift_hz: float
    slope_hz_per_cm: float
    wobble_hz: float
    susceptibility: float | None = None
    conductivity_s_m: float | None = None


@dataclass(frozen=True, slots=True)
class GroundFigures:
    height_cm: float
    wobble_cm: float
    soils: tuple[GroundRow, ...]


@dataclass(frozen=True, slots=True)
class PowerFigures:
    """Current, field, emission and battery life.  Values are rms unless the name says peak."""

    tank_peak_v: float
    current_a: float
    current_peak_a: float
    tank_loss_mw: float
    parallel_ohm: float
    centre_ut: float
    public_limit_ut: float
    limit_spacing_cm: float | None
    highest_peak_v: float
    moment_a_m2: float
    emission_dbua_m_10m: float
    emission_limit_dbua_m: float | None
    emission_margin_db: float | None
    emission_uv_m_300m: float
    emission_limit_uv_m: float
    oscillator_ma: float
    oscillator_most_v: float  # above it the default oscillator begins to saturate
    supply_ma: float
    supply_from: str  # "the tank" or "given"
    battery_mah: float
    battery_h: float


@dataclass(frozen=True, slots=True)
class TankVoltage:
    """The peak voltage across the coil, and that of the default oscillator with this coil, in V."""

    peak_v: float
    peak_v_from: str  # "the default oscillator" or "given"
    pair_peak_v: float
    tapped_peak_v: float  # that of the default oscillator if this coil has a centre tap
    centre_tap: bool


@dataclass(frozen=True, slots=True)
class ShortPlan:
    """Coil, capacitor and the short answer."""

    coil: CoilFigures
    capacitor: CapacitorFigures
    tank: TankVoltage
    warnings: tuple[PlanWarning, ...]
    answer: PlanAnswer


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole plan, as `plan --json` prints it.  noise: by class; response: curves for the picture, or None."""

    kind: str
    basis: str
    coil: CoilFigures
    capacitor: CapacitorFigures
    tank: TankVoltage
    warnings: tuple[PlanWarning, ...]
    drift: DriftFigures
    offset: OffsetFigures
    answer: PlanAnswer
    noise: dict[str, NoiseLevel]
    depth_cm: float
    targets: tuple[TargetFigures, ...]
    iron: IronFigures
    sweep: SweepFigures
    ground: GroundFigures
    power: PowerFigures
    cautions: tuple[str, ...]
    response: dict[str, Any] | None = None


def as_plain(value: Any) -> Any:
    """Return dicts, lists, numbers, strings and None in place of records and tuples."""
    if is_dataclass(value):
        given = [(declared, getattr(value, declared.name)) for declared in fields(value)]
        return {declared.name: as_plain(item) for declared, item in given if item is not None or _always(declared)}
    if isinstance(value, dict):
        return {key: as_plain(item) for key, item in value.items()}
    return [as_plain(item) for item in value] if isinstance(value, list | tuple) else value


def _always(declared: Field) -> bool:
    """Whether a field is in the object even if it is None."""
    return declared.default is MISSING or declared.default is not None
