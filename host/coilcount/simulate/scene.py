"""A scene: coil, sweep, objects, ground, weather and faults, as frozen records that are read from TOML.

`height_cm` is the height of the coil's plane above the surface of the ground.  `depth_cm` is the depth of the object's
centre below that surface.  So the distance is their sum.  All times are seconds of the scene; t = 0 is the first boot
of the board.
"""

# ruff: noqa: RUF009 - table() returns a dataclasses.field
import re
from dataclasses import dataclass

from coilcount.schema.body import METALS, SIZES, refuse_impossible
from coilcount.schema.coil import USUAL_LOOP_GAIN, Coil
from coilcount.schema.tables import choice, flag, number, table, tables, text, times, whole

MAX_SECONDS = 100_000.0
UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", re.ASCII)

# The names used in coilcount.physics.  They are repeated here so that reading a scene does not load the physics, which
# is slow; a test compares them.
NOISE_CLASSES = ("ideal", "careful", "typical", "poor")
SHAPES = (*SIZES, "flat-iron")  # "flat-iron" is another word for a disc


@dataclass(frozen=True, slots=True, kw_only=True)
class Oscillator:
    """The oscillator and its noise S_y(f) = h_minus2/f^2 + h_minus1/f + h0.  An h given here replaces the class's."""

    noise: str = choice(NOISE_CLASSES, "careful")
    h0: float | None = number(0, 1e-6, None)  # 1/Hz, white FM
    h_minus1: float | None = number(0, 1e-6, None)  # flicker FM
    h_minus2: float | None = number(0, 1e-6, None)  # Hz, random walk FM
    jitter_ns: float = number(0, 1000, 4.0)  # white, per edge, rms
    q: float | None = number(2, 1000, None)  # None: from the winding's resistance
    # Gain over the least that sustains the oscillation; it sets how far the supply moves the frequency.
    loop_gain: float = number(1.001, 10, USUAL_LOOP_GAIN)
    temperature_ppm_per_k: float | None = number(-2000, 2000, None)  # None: from Q, copper and former


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """The motion of the coil: still, or moving at a speed and height."""

    kind: str = choice(("passes", "still"), "passes")
    speed_m_s: float = number(0.01, 5, 0.5)
    height_cm: float = number(0, 200, 3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One object and the times at which the coil comes closest to it; every second pass goes the other way."""

    object: str = text()  # the name in the labels
    shape: str = choice(SHAPES)
    metal: str = choice(METALS)
    diameter_mm: float = number(0.1, 1000)
    thickness_mm: float | None = number(0.001, 100, None)  # of a ring its wire, of a can or cap its sheet
    length_mm: float | None = number(1, 2000, None)  # of a rod or can; of a cap its height with the skirt
    hole_mm: float | None = number(0.1, 1000, None)  # of a washer
    depth_cm: float = number(0, 200)  # the centre, below the ground's surface
    offset_cm: float = number(-200, 200, 0.0)  # sideways from the coil's path
    ahead_cm: float = number(-200, 200, 0.0)  # along the path, from the point that the coil reaches at at_s
    tilt_deg: float = number(0, 90, 0.0)  # of the object's axis from the vertical: a flat coin 0, a lying nail 90
    turn_deg: float = number(-180, 180, 0.0)  # which way it is tilted: 0 along the path, 90 across
    at_s: tuple[float, ...] = times()
    speed_m_s: float | None = number(0.01, 5, None)  # None: that of the sweep
    dwell_s: float = number(0, 120, 0.0)  # rest over it for this long, from at_s - dwell_s/2

    def __post_init__(self) -> None:
        sizes = {name: getattr(self, name) for name in ("thickness_mm", "length_mm", "hole_mm")}
        refuse_impossible("disc" if self.shape == "flat-iron" else self.shape, self.diameter_mm, sizes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Magnetic soil under the coil, its unevenness along the path, and the unsteady hand that carries the coil."""

    chi: float = number(0, 0.1, 0.0)  # volume susceptibility, SI
    variation: float = number(0, 1, 0.0)  # rms of chi's unevenness, as a share of chi
    patch_m: float = number(0.05, 20, 0.8)  # the shortest wavelength of that unevenness; the longest is 8 times it
    wobble_cm: float = number(0, 10, 0.0)  # rms of the height
    wobble_low_hz: float = number(0.01, 20, 0.3)
    wobble_high_hz: float = number(0.01, 20, 2.0)

    def __post_init__(self) -> None:
        if self.wobble_low_hz >= self.wobble_high_hz:
            raise ValueError("wobble_low_hz must be below wobble_high_hz")


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """The temperature of coil and board: at the start, a rise, and slow changes (sun and shade, wind)."""

    start_c: float = number(-40, 60, 20.0)
    warm_up_k: float = number(-40, 60, 0.0)
    warm_up_s: float = number(1, 100_000, 120.0)
    swing_k: float = number(0, 20, 0.0)  # rms
    swing_period_s: float = number(2, 10_000, 60.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """The board's supply voltage: it falls with time and carries noise."""

    volt: float = number(1, 20, 5.0)
    sag_v_per_min: float = number(0, 10, 0.0)
    ripple_mv: float = number(0, 500, 0.0)  # rms, 0.1 to 5 Hz


@dataclass(frozen=True, slots=True, kw_only=True)
class Amplitude:
    """The coil's amplitude as the board measures it; it falls with loss."""

    present: bool = flag(True)
    volt: float = number(0.1, 6, 3.0)
    noise: float = number(0, 0.1, 1e-4)  # rms of dV/V over 20 ms


@dataclass(frozen=True, slots=True, kw_only=True)
class Vibration:
    """A shaking winding (a mower nearby, a loose turn), as narrow-band frequency modulation."""

    rms_ppm: float = number(0, 1000, 0.0)
    frequency_hz: float = number(0.1, 400, 14.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Knock:
    """A blow against the coil: the frequency oscillates and decays, and a part of the shift remains (stays_ppm)."""

    at_s: tuple[float, ...] = times()
    size_ppm: float = number(-10_000, 10_000)
    decay_s: float = number(0.001, 10, 0.05)
    frequency_hz: float = number(0, 400, 15.0)
    stays_ppm: float = number(-1000, 1000, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Glitch:
    """An edge counted twice or missed."""

    at_s: tuple[float, ...] = times()
    kind: str = choice(("doubled", "lost"), "doubled")


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """Records lost between board and host."""

    at_s: tuple[float, ...] = times()
    records: int = whole(1, 10_000, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A time from start_s to end_s in which the plug is out, or the oscillator has stopped."""

    start_s: float = number(0, MAX_SECONDS)
    end_s: float = number(0, MAX_SECONDS)

    def __post_init__(self) -> None:
        if self.end_s <= self.start_s:
            raise ValueError("end_s must be after start_s")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Times at which the button on the board is pressed."""

    at_s: tuple[float, ...] = times()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything that determines a simulated capture, apart from the seed's random numbers."""

    schema: int = whole(1, 1)
    title: str = text("")
    description: str = text("")
    start_utc: str = text("2025-05-10T09:00:00Z")  # fixed, so that the same scene gives the same bytes
    duration_s: float = number(1, MAX_SECONDS)
    seed: int = whole(0, 2**31 - 1, 1)
    plan: str = text("")  # a plan file beside the scene, whose [coil] takes the place of the scene's own
    coil: Coil = table(Coil)
    oscillator: Oscillator = table(Oscillator)
    sweep: Sweep = table(Sweep)
    ground: Ground = table(Ground)
    weather: Weather = table(Weather)
    supply: Supply = table(Supply)
    amplitude: Amplitude = table(Amplitude)
    vibration: Vibration = table(Vibration)
    target: tuple[Target, ...] = tables(Target)
    knock: tuple[Knock, ...] = tables(Knock)
    glitch: tuple[Glitch, ...] = tables(Glitch)
    lost: tuple[Lost, ...] = tables(Lost)
    unplug: tuple[Span, ...] = tables(Span)
    stopped: tuple[Span, ...] = tables(Span)
    mark: tuple[Mark, ...] = tables(Mark)

    def __post_init__(self) -> None:
        if not UTC.fullmatch(self.start_utc):
            raise ValueError(f'start_utc is "{self.start_utc}": write it as 2025-05-10T09:00:00Z')
        for name in ("target", "knock", "glitch", "lost", "mark"):
            for i, event in enumerate(getattr(self, name)):
                if event.at_s[-1] > self.duration_s:
                    raise ValueError(f"[[{name}]] {i + 1}, at_s is {event.at_s[-1]:g}, after the scene's duration_s")
        for name in ("unplug", "stopped"):
            for i, span in enumerate(getattr(self, name)):
                if span.end_s > self.duration_s:
                    raise ValueError(f"[[{name}]] {i + 1}, end_s is {span.end_s:g}, after the scene's duration_s")
