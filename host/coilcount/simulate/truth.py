"""What a simulated capture really holds, as labels: each pass, what the frequency does, and how clear it is."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from coilcount.capture.labels import Label
from coilcount.simulate.coil import CoilModel, is_iron
from coilcount.simulate.dprime import Yardstick
from coilcount.simulate.passes import Pass, passes_of
from coilcount.simulate.scene import Scene, Span

VISIBLE = 0.1  # a label spans the time in which the shift is above this share of its peak


@dataclass(frozen=True, slots=True)
class PassTruth:
    """One pass as the physics has it; times on the board's base, whose t = 0 is 1/f after the scene's."""

    one: Pass
    closest_s: float
    start_s: float  # to end_s: where the shift is above VISIBLE of its peak
    end_s: float
    peak_ppm: float  # the largest shift, signed
    d_prime_oscillator: float
    d_prime_everything: float

    @property
    def response(self) -> str:
        """What the frequency does: "ferrous" (it falls) or "non-ferrous" (it rises)."""
        return "ferrous" if self.peak_ppm < 0 else "non-ferrous"


def judged_passes(scene: Scene, measure: Callable[[], Yardstick]) -> list[PassTruth]:
    """The passes of a scene that a board sees (not those in an unplug or a stop), in order.

    measure: asked for the yardstick, once, where there is a pass to judge, since that takes a second or so.
    """
    coil = CoilModel(scene)
    hidden = scene.unplug + scene.stopped
    passes = [one for one in passes_of(scene) if 0 <= one.closest_s < scene.duration_s]
    passes = [one for one in passes if not _inside(one.closest_s, hidden)]
    if not passes:
        return []
    yardstick = measure()
    return [_judged(scene, coil, one, yardstick) for one in passes]


def labels(scene: Scene, measure: Callable[[], Yardstick]) -> list[Label]:
    """One Label for each pass and each knock, in order.  measure: as for judged_passes."""
    found = [_label(truth) for truth in judged_passes(scene, measure)]
    for knock in scene.knock:
        for at in knock.at_s:
            end_s = min(at + 3 * knock.decay_s, scene.duration_s)
            found.append(Label(at, round(end_s, 3), at, "knock", note=f"{knock.size_ppm:g} ppm"))
    return sorted(found, key=lambda label: label.closest_s)


def pass_shift(scene: Scene, coil: CoilModel, one: Pass, t: np.ndarray) -> np.ndarray:
    """Relative shift by one pass at times t, at the sweep's own height (no hand)."""
    down_m = np.full_like(t, (scene.sweep.height_cm + one.target.depth_cm) / 100)
    return coil.object_shift(one.target, one.along_m(t), down_m)[0]


def _judged(scene: Scene, coil: CoilModel, one: Pass, yardstick: Yardstick) -> PassTruth:
    begin_ms = int(np.floor(one.start_s * 1000))
    t = np.arange(begin_ms, int(np.ceil(one.end_s * 1000))) * 1e-3
    y = pass_shift(scene, coil, one, t)
    peak = float(y[np.argmax(np.abs(y))])
    seen = t[np.abs(y) >= VISIBLE * abs(peak)]
    alone, all_in = yardstick.of(y, one.closest_s - t[0], one.target.dwell_s)
    closest_s = round(float(one.closest_s), 3)
    return PassTruth(
        one=one,
        closest_s=closest_s,
        start_s=max(0.0, min(round(float(seen[0]), 3), closest_s)),
        end_s=max(round(float(seen[-1]), 3), closest_s),
        peak_ppm=1e6 * peak,
        d_prime_oscillator=alone,
        d_prime_everything=all_in,
    )


def _label(truth: PassTruth) -> Label:
    target = truth.one.target
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
