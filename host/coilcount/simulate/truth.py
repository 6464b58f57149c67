"""What a simulated capture really holds, as labels: each pass, what the frequency does, and how clear it is."""

from collections.abc import Callable

import numpy as np

from coilcount.capture.labels import Label
from coilcount.simulate.coil import CoilModel, is_iron
from coilcount.simulate.dprime import Yardstick
from coilcount.simulate.passes import Pass, passes_of
from coilcount.simulate.scene import Scene, Span

VISIBLE = 0.1  # a label spans the time in which the shift is above this share of its peak


def labels(scene: Scene, yardstick: Callable[[], Yardstick]) -> list[Label]:
    """One Label for each pass and each knock, in order; times are board time (its t = 0 is 1/f after the scene's).

    yardstick: asked for once where there is a pass to judge, since it takes a second or so.
    """
    coil = CoilModel(scene)
    hidden = scene.unplug + scene.stopped
    passes = [one for one in passes_of(scene) if 0 <= one.closest_s < scene.duration_s]
    passes = [one for one in passes if not _inside(one.closest_s, hidden)]
    found = []
    if passes:
        measure = yardstick()
        found = [_label(scene, coil, one, measure) for one in passes]
    for knock in scene.knock:
        for at in knock.at_s:
            end_s = min(at + 3 * knock.decay_s, scene.duration_s)
            found.append(Label(at, round(end_s, 3), at, "knock", note=f"{knock.size_ppm:g} ppm"))
    return sorted(found, key=lambda label: label.closest_s)


def pass_shift(scene: Scene, coil: CoilModel, one: Pass, t: np.ndarray) -> np.ndarray:
    """Relative shift by one pass at times t, at the sweep's own height (no hand)."""
    down_m = np.full_like(t, (scene.sweep.height_cm + one.target.depth_cm) / 100)
    return coil.object_shift(one.target, one.along_m(t), down_m)[0]


def _label(scene: Scene, coil: CoilModel, one: Pass, measure: Yardstick) -> Label:
    begin_ms = int(np.floor(one.start_s * 1000))
    t = np.arange(begin_ms, int(np.ceil(one.end_s * 1000))) * 1e-3
    y = pass_shift(scene, coil, one, t)
    peak = y[np.argmax(np.abs(y))]
    seen = t[np.abs(y) >= VISIBLE * abs(peak)]
    alone, all_in = measure.of(y, one.closest_s - t[0], one.target.dwell_s)
    response = "ferrous" if peak < 0 else "non-ferrous"
    note = f"peak {1e6 * peak:+.2f} ppm, d' {alone:.1f} oscillator {all_in:.1f} everything"
    iron = is_iron(one.target)
    if iron != (response == "ferrous"):
        note += ", an iron object that raises the frequency" if iron else ", its loss outweighs its field"
    closest_s = round(one.closest_s, 3)
    return Label(
        start_s=max(0.0, min(round(float(seen[0]), 3), closest_s)),
        end_s=max(round(float(seen[-1]), 3), closest_s),
        closest_s=closest_s,
        object=one.target.object,
        metal=one.target.metal,
        response=response,
        depth_cm=one.target.depth_cm,
        note=note,
    )


def _inside(t: float, spans: tuple[Span, ...]) -> bool:
    return any(span.start_s <= t < span.end_s for span in spans)
