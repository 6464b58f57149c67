"""A simulated course over which builds are compared: objects from shallow to too deep, passed several times."""

from dataclasses import replace
from pathlib import Path

from coilcount.capture.labels import labels_path, write_labels
from coilcount.capture.writer import CaptureWriter
from coilcount.model import Header, Label
from coilcount.physics.noise import NOISE_CLASSES
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.dprime import yardstick
from coilcount.simulate.lines import entries
from coilcount.simulate.scene import Ground, Oscillator, Scene, Supply, Sweep, Target, Weather
from coilcount.simulate.truth import labels

FIRST_S, EVERY_S = 7.0, 1.8  # s: the first pass, after the warm-up; from one pass to the next
GROUNDS = {
    "bench": Ground(),
    "lawn": Ground(chi=1e-4, variation=0.15, patch_m=0.8, wobble_cm=0.4, wobble_high_hz=1.5),
}
DEPTHS_CM = (1.5, 3.0, 4.5, 5.5, 7.0, 9.0, 11.0)


def course(ground: str, passes: int, noise: float = 1.0) -> Scene:
    """A scene with 14 objects, each passed several times.

    ground: a key of GROUNDS.  passes: over each object.  noise: factor of all amplitudes of the oscillator's noise.
    """
    targets, time_s = [], FIRST_S
    for depth_cm in DEPTHS_CM:
        for shape in (
            {"object": "coin 24 mm", "shape": "disc", "metal": "copper", "diameter_mm": 24, "thickness_mm": 1.75},
            {"object": "nail 70 mm", "shape": "rod", "metal": "steel", "diameter_mm": 3, "length_mm": 70,
             "tilt_deg": 80, "turn_deg": 80},
        ):  # fmt: skip
            times = tuple(round(time_s + EVERY_S * i, 3) for i in range(passes))
            targets.append(Target(depth_cm=depth_cm, at_s=times, **shape))
            time_s += EVERY_S * passes
    known = NOISE_CLASSES["typical"]
    oscillator = Oscillator(
        noise="typical",
        h0=noise**2 * known.h0,
        h_minus1=noise**2 * known.h_minus1,
        h_minus2=noise**2 * known.h_minus2,
        jitter_ns=4.0 * noise,
    )
    return Scene(
        schema=1,
        duration_s=time_s + 3.0,
        oscillator=oscillator,
        sweep=Sweep(speed_m_s=0.5, height_cm=3),
        ground=GROUNDS[ground],
        weather=Weather(start_c=15, warm_up_k=1.5, warm_up_s=90, swing_k=0.1),
        supply=Supply(sag_v_per_min=0.002, ripple_mv=2),
        target=tuple(targets),
    )


def without_objects(scene: Scene, duration_s: float) -> Scene:
    """The same sweep over ground with nothing in it."""
    return replace(scene, target=(), duration_s=duration_s)


def truth(scene: Scene) -> list[Label]:
    """The labels of a scene.  They do not depend on the seed, and take a second to compute."""
    return labels(scene, lambda: yardstick(scene, CoilModel(scene).f0_hz, 20))


def write_capture(path: Path, scene: Scene, seed: int, known: list[Label] | None) -> Path:
    """Write a simulated capture, and its labels unless they are None; return its path."""
    with CaptureWriter(path, Header("simulate", scene.start_utc, simulated=True)) as writer:
        for entry in entries(scene, seed):
            writer.write(entry)
    if known is not None:
        write_labels(labels_path(path), known)
    return path
