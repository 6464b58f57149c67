"""A plan file: the [coil] table that scenes use as well, the user's own targets, and the wanted values."""

# ruff: noqa: RUF009 - table() returns a dataclasses.field
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .body import METALS, SIZES, refuse_impossible
from .coil import Coil
from .tables import choice, number, read_table, table, tables, text, whole
from .toml_text import load

# Noise classes of an oscillator that can be built.  The same words as in coilcount.plan.noise; a test compares them.
OSCILLATORS = ("careful", "typical", "poor")
# The coil of a plan if the file says nothing about it.  Chosen by hand.
USUAL_COIL = Coil(diameter_mm=100.0, turns=30, wire="26 AWG", capacitor_nf=180.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnTarget:
    """A target of the user's own: a metal by name, or its conductivity and relative permeability."""

    object: str = text()  # its name in the table
    shape: str = choice(tuple(SIZES))
    metal: str | None = choice(METALS, None)
    conductivity_s_m: float | None = number(1, 1e8, None)
    mu_r: float = number(1, 1e5, 1.0)  # used only with conductivity_s_m
    diameter_mm: float = number(0.1, 1000)  # of a plate, its side
    thickness_mm: float | None = number(0.001, 100, None)  # of a ring its wire, of a can or cap its sheet
    length_mm: float | None = number(0.1, 2000, None)  # of a rod or can; of a cap its height with the skirt
    hole_mm: float | None = number(0.1, 1000, None)  # of a washer

    def __post_init__(self) -> None:
        sizes = {name: getattr(self, name) for name in ("thickness_mm", "length_mm", "hole_mm")}
        refuse_impossible(self.shape, self.diameter_mm, sizes)
        if (self.metal is None) == (self.conductivity_s_m is None):
            raise ValueError('give either "metal" or "conductivity_s_m"')


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFile:
    """Everything that a plan is computed from.  Limits and defaults are chosen by hand unless a comment says more."""

    schema: int = whole(1, 1, 1)
    frequency_hz: float | None = number(1e3, 2e5, None)  # the wanted one; None: that of coil and capacitor
    drawer: str = text("E12")  # an E-series, or values such as "100n, 68n"
    tolerance_percent: float = number(0, 50, 5.0)  # of the capacitors
    oscillator: str = choice(OSCILLATORS, "careful")  # its noise class
    noise_ppm: float | None = number(1e-4, 1e4, None)  # smallest shift that counts, from a recording of noise
    depth_cm: float = number(0.5, 150, 10.0)  # the wanted depth, below the surface of the soil
    speed_m_s: float = number(0.01, 5, 0.65)  # of the sweep; the middle of the speeds in the detection benchmark
    height_cm: float = number(0.5, 100, 3.0)  # of the coil's plane above the soil, as in the detection benchmark
    wobble_cm: float | None = number(0, 20, None)  # of that height, rms; None: as in each soil of the benchmark
    offset_cm: float = number(0, 100, 0.0)  # sideways, from the coil's axis to the object
    tilt_deg: float = number(0, 60, 0.0)  # of the coil, away from level; its axis then points away from the object
    tank_peak_v: float | None = number(0.1, 200, None)  # across the whole coil; None: as the default oscillator gives
    # Current of oscillator, board and display together; None: computed from the voltage and the loss of the tank.
    supply_ma: float | None = number(0.1, 5000, None)
    battery_mah: float = number(10, 100_000, 2000.0)
    coil: Coil = table(Coil, USUAL_COIL)
    target: tuple[OwnTarget, ...] = tables(OwnTarget)


def read_plan(path: Path) -> PlanFile:
    """The plan in a file; keys that its [coil] leaves out are as in `USUAL_COIL`.  Raises InputError."""
    return plan_of(load(path, "plan"), str(path))


def plan_of(raw: dict[str, Any], where: str) -> PlanFile:
    """The plan in the raw table of a file; where: the file's name, for messages.  Raises InputError."""
    if isinstance(raw.get("coil"), dict):
        usual = {name: getattr(USUAL_COIL, name) for name in ("diameter_mm", "turns", "capacitor_nf")}
        raw = raw | {"coil": usual | raw["coil"]}
    return read_table(PlanFile, raw, where)
