"""The truth of a simulated capture as labels: each pass, the direction of its shift, and its d'."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from coilcount.model import Label
from coilcount.simulate.coil import CoilModel, is_iron
from coilcount.simulate.dprime import Yardstick
from coilcount.simulate.passes import Pass, passes_of
from coilcount.simulate.scene import Scene, Span

VISIBLE = 0.1  # a label covers the time in which the shift is above this share of its peak; chosen by hand


@dataclass(frozen=True, slots=True)
class PassTruth:
    """One pass by the physics.  Times are on the board's time base: its t = 0 is one period after the scene's."""

    a_pass: Pass
    closest_s: float
    start_s: float  # from start_s to end_s the shift is above VISIBLE of its peak
    end_s: float
    peak_ppm: float  # the largest shift, signed
    d_prime_oscillator: float
    d_prime_everything: float

    @property
    def response(self) -> str:
        """Response by the sign of the shift: "ferrous" if the frequency falls, "non-ferrous" if it rises."""
        return "ferrous" if self.peak_ppm < 0 else "non-ferrous"


def judged_passes(scene: Scene, measure: Callable[[], Yardstick]) -> list[PassTruth]:
    """List the passes of a scene in order, without those during an unplug or a stop.

    measure: returns the yardstick.  It is called once, and only if there is a pass, because it takes about a second.
    """
    coil = CoilModel(scene)
    hidden = scene.unplug + scene.stopped
    passes = [a_pass for a_pass in passes_of(scene) if 0 <= a_pass.closest_s < scene.duration_s]
    passes = [a_pass for a_pass in passes if not _inside(a_pass.closest_s, hidden)]
    if not passes:
        return []
    yardstick = measure()
    return [_judged(scene, coil, a_pass, yardstick) for a_pass in passes]


def labels(scene: Scene, measure: Callable[[], Yardstick]) -> list[Label]:
    """Make one Label for each pass and each knock, in order.  measure: see judged_passes."""
    found = [_label(truth) for truth in judged_passes(scene, measure)]
    for knock in scene.knock:
        for at_s in knock.at_s:
            end_s = min(at_s + 3 * knock.decay_s, scene.duration_s)
            found.append(Label(at_s, round(end_s, 3), at_s, "knock", note=f"{knock.size_ppm:g} ppm"))
    return sorted(found, key=lambda label: label.closest_s)


def pass_shift(scene: Scene, coil: CoilModel, a_pass: Pass, t: np.ndarray) -> np.ndarray:
    """Compute the relative shift by one pass at times t, at the constant height of the sweep (a steady hand)."""
    down_m = np.full_like(t, (scene.sweep.height_cm + a_pass.target.depth_cm) / 100)
    return coil.object_shift(a_pass.target, a_pass.along_m(t), down_m)[0]


def _judged(scene: Scene, coil: CoilModel, a_pass: Pass, yardstick: Yardstick) -> PassTruth:
    begin_ms = int(np.floor(a_pass.start_s * 1000))
    t = np.arange(begin_ms, int(np.ceil(a_pass.end_s * 1000))) * 1e-3
    y = pass_shift(scene, coil, a_pass, t)
    peak = float(y[np.argmax(np.abs(y))])
    seen = t[np.abs(y) >= VISIBLE * abs(peak)]
    alone, everything = yardstick.of(y, a_pass.closest_s - t[0], a_pass.target.dwell_s)
    closest_s = round(float(a_pass.closest_s), 3)
    return PassTruth(
        a_pass=a_pass,
        closest_s=closest_s,
        start_s=max(0.0, min(round(float(seen[0]), 3), closest_s)),
        end_s=max(round(float(seen[-1]), 3), closest_s),
        peak_ppm=1e6 * peak,
        d_prime_oscillator=alone,
        d_prime_everything=everything,
    )


def _label(truth: PassTruth) -> Label:
    target = truth.a_pass.target
    note = (
        f"peak {truth.peak_ppm:+.2f} ppm, d' {truth.d_prime_oscillator:.1f} oscillator "
        f"{truth.d_prime_everything:.1f} everything"
    )
    iron = is_iron(target)
    if iron != (truth.response == "ferrous"):
        note += ", an iron object that raises the frequency" if iron else ", its loss outweighs its field"
    return Label(
        start_s=truth.start_s,
        end_s=truth.end_s,
        closest_s=truth.closest_s,
        object=target.object,
        metal=target.metal,
        response=truth.response,
        depth_cm=target.depth_cm,
        note=note,
    )


def _inside(t: float, spans: tuple[Span, ...]) -> bool:
    return any(span.start_s <= t < span.end_s for span in spans)
