"""Runs the commands of the desk on a course of 12 simulated captures.  It checks nothing.

    python tests/bench/desk_course.py [--rate 1] [--minutes 6] [--first-seed 5001] [--keep DIR]

Everything is simulated.  Two sites, two days, six captures each, over several soils.  Two of the captures have rests
over objects (auto-hold), two have gaps, two have lost records.  The objects and seeds of each capture differ.

The commands run as a user would run them, each in a process of its own, from an empty folder with an empty cache:
    simulate   the 12 captures with their truth as labels; then the six of the meadow again with a noisier build
    captures   the list of the course
    label      propose labels from alerts and marks, and import the truth of one capture
    tune       the threshold for the wanted rate, checked on recordings left out; again from the cache; by site
    compare    the settings in force and the tuned ones, then the two builds
    report     one page of all captures; again from the cache
    replay     the sound and the picture of one capture
Their wall time and peak memory (resident set of the largest process) are printed.  The captures are simulated by
several processes at a time; the other commands run one after the other and use the cores as they see fit.

Then the tuned settings are applied to 12 captures with fresh seeds and objects.  The rate that they give there is
printed with its 95 % Poisson interval (Garwood), and whether it is within a factor of 3 of the rate asked for.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import piped

sys.path.insert(0, str(Path(__file__).parent / "detection"))

import objects
from coilcount.desk.cache import FOLDER_VARIABLE
from coilcount.desk.rates import rate, share
from coilcount.desk.recordings import find_recordings
from coilcount.desk.replays import replay_grid
from coilcount.desk.scoring import labels_of, score
from coilcount.settings import read_settings, toml_line
from coilcount.simulate.scene import Ground, Lost, Mark, Scene, Span, Supply, Sweep, Vibration
from conditions import CALM, CONDITIONS, LAWN, target_of

FIRST_S, LAST_S = 8.0, 4.0  # no pass before and after: warm-up, and the end of the capture
EVERY_S = 5.0  # mean time between two passes; chosen by hand
FACTOR = 3.0  # the rate counts as reached within this factor
BED = Ground(chi=2e-4, variation=0.2, patch_m=0.8, wobble_cm=0.6, wobble_high_hz=1.5)
RICH = Ground(chi=5e-4, variation=0.2, patch_m=0.8, wobble_cm=0.5, wobble_high_hz=1.2)
SUN = CONDITIONS["sun"]
NOISIER = "typical"  # the noise class of the second build: ten times the amplitude of that of the first, "careful"
SECOND_SITE = "meadow"  # where the second build sweeps

# site/name: what differs from a calm lawn.  rest: every fourth object is rested over; unplug, lost: faults of the link.
CAPTURES = {
    "meadow/1-lawn": {},
    "meadow/2-lawn-rests": {"rest": True},
    "meadow/3-sun": {"weather": SUN.weather, "oscillator": SUN.oscillator},
    "meadow/4-lost-records": {"lost": True},
    "meadow/5-unplugged": {"unplug": True},
    "meadow/6-mower": {"vibration": Vibration(rms_ppm=1.0, frequency_hz=13)},
    "slope/1-bed": {"ground": BED},
    "slope/2-bed-rests": {"ground": BED, "rest": True},
    "slope/3-rich-soil": {"ground": RICH},
    "slope/4-rich-soil-unplugged": {"ground": RICH, "unplug": True},
    "slope/5-bed-lost-records": {"ground": BED, "lost": True},
    "slope/6-lawn": {},
}
FIRST = "course/meadow/1-lawn"  # the capture that is labelled, heard and drawn
DAY = {"meadow": "2026-05-02T08:{:02}:00Z", "slope": "2026-05-09T09:{:02}:00Z"}


def scene_of(name: str, seed: int, minutes: float, fresh: bool) -> Scene:
    """Return the scene of one capture.  fresh: other objects, for the captures that nothing was chosen on."""
    special = dict(CAPTURES[name])
    rng = np.random.default_rng([seed, fresh])
    duration_s = 60 * minutes
    pool = objects.TUNING if fresh else objects.TEST
    things = [pool[i] for i in rng.permutation(len(pool))[:8]]
    unplug = (Span(start_s=0.5 * duration_s, end_s=0.5 * duration_s + 6),) if special.pop("unplug", False) else ()
    rest = special.pop("rest", False)
    targets = []
    pass_s = FIRST_S
    while pass_s < duration_s - LAST_S:
        thing = things[rng.integers(len(things))]
        target = target_of(thing, rng, pass_s, speed_m_s=float(rng.uniform(0.3, 1.0)))
        if rest and rng.random() < 0.25:
            rest_s = float(rng.uniform(2, 6))
            target = replace(target, dwell_s=rest_s, at_s=(pass_s + rest_s / 2,))
            pass_s += rest_s
        if target.at_s[0] + target.dwell_s / 2 < duration_s - LAST_S:
            targets.append(target)
        pass_s += float(rng.uniform(0.6, 1.4)) * EVERY_S
    lost = ()
    if special.pop("lost", False):
        lost = tuple(Lost(at_s=(float(t),), records=int(rng.integers(1, 6)))
                     for t in rng.uniform(FIRST_S, duration_s - LAST_S, 10))  # fmt: skip
    site, number = name.split("/")[0], int(name.split("/")[1][0])
    defaults = {"ground": LAWN, "weather": CALM}
    return Scene(
        schema=1, duration_s=duration_s, seed=seed, title=f"{name}, simulated", start_utc=DAY[site].format(8 * number),
        sweep=Sweep(speed_m_s=0.5, height_cm=3), supply=Supply(sag_v_per_min=0.002, ripple_mv=2), target=tuple(targets),
        lost=lost, unplug=unplug, mark=(Mark(at_s=tuple(round(target.at_s[0] + 1, 2) for target in targets[:3])),),
        **(defaults | special),
    )  # fmt: skip


def toml_of(scene: Scene) -> str:
    """Return the scene as the text of a TOML file, without keys that have no value."""
    top, tables = [], []
    for key, value in asdict(scene).items():
        if isinstance(value, dict):
            tables += ["", f"[{key}]", *_lines(value)]
        elif isinstance(value, tuple):
            for row in value:
                tables += ["", f"[[{key}]]", *_lines(row)]
        else:
            top += _lines({key: value})
    return "\n".join([*top, *tables]) + "\n"


def _lines(table: dict) -> list[str]:
    return [toml_line(name, value) for name, value in table.items() if value is not None]


class Course:
    """The folder of the course, and the table of what each command took."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.environment = {**os.environ, FOLDER_VARIABLE: str(folder / "cache")}
        self.rows: list[tuple[str, float, float]] = []

    def run(self, title: str, *words: str, show: bool = True) -> None:
        """Run one command of coilcount in the folder, and keep its wall time and its peak memory."""
        print(f"\n$ coilcount {' '.join(words)}", flush=True)
        self.rows.append((title, *self._measured(words, show)))

    def _measured(self, words: tuple[str, ...], show: bool) -> tuple[float, float]:
        """Run a command; return its wall time in s and its peak memory in MB."""
        began_s = time.monotonic()
        out = None if show else subprocess.DEVNULL
        command = [sys.executable, "-m", "coilcount", *words]
        process = subprocess.Popen(command, cwd=self.folder, stdout=out, env=self.environment)
        # Only wait4 gives the memory of this one process.
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            print(f"(coilcount {words[0]} ended with exit code {process.returncode})", flush=True)
        # ru_maxrss is in kB on Linux, in bytes on macOS.
        return time.monotonic() - began_s, used.ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)

    def simulate(self, top: str, scenes: dict[str, Scene]) -> None:
        """Write the scenes and their captures below the folder `top`, several at a time."""
        print(f"\n$ coilcount simulate {top}/NAME.toml {top}/NAME.ccap  ({len(scenes)} times)", flush=True)
        began_s = time.monotonic()
        for name, scene in scenes.items():
            path = self.folder / top / f"{name}.toml"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(toml_of(scene), encoding="utf-8")
        commands = [("simulate", f"{top}/{name}.toml", f"{top}/{name}.ccap", "--quiet") for name in scenes]
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            peaks_mb = [peak_mb for _, peak_mb in pool.map(lambda words: self._measured(words, True), commands)]
        self.rows.append((f"simulate, {len(scenes)} captures, {top}", time.monotonic() - began_s, max(peaks_mb)))


def label(course: Course) -> None:
    """Propose labels, then bring the truth of that capture back: it was taken away as if nobody had labelled it."""
    capture = f"{FIRST}.ccap"
    truth = course.folder / "truth-1.csv"
    shutil.move(course.folder / f"{FIRST}.labels.csv", truth)
    course.run("label propose", "label", "propose", capture, "--quiet")
    proposals = (course.folder / f"{FIRST}.proposed.csv").read_text(encoding="utf-8").splitlines()[1:]
    print(f"{len(proposals)} proposals", flush=True)
    course.run("label import", "label", "import", capture, truth.name, "--quiet")
    course.run("label remove", "label", "remove", capture, "proposed", "--quiet")


def judge_fresh(folder: Path, settings_file: Path, wanted: float) -> None:
    """Print what the tuned settings give on captures that nothing was chosen on."""
    settings = read_settings(settings_file)
    print(f"\nFresh captures (simulation), fixed at {settings.tracker['threshold']:g}, {wanted:g} a minute asked for:")
    scores = []
    for recording in find_recordings([str(folder)]):
        replay = replay_grid(recording, settings, ())
        made = score(replay, replay.at[0], labels_of(recording))
        found = sum(a_pass.found for a_pass in made.passes)
        name = Path(recording.name).relative_to(folder)
        print(f"  {name!s:<36}{len(made.false_alarms):>4} in {made.minutes:.1f} min   found {found}/{len(made.passes)}")
        scores.append(made)
    count, minutes = sum(len(made.false_alarms) for made in scores), sum(made.minutes for made in scores)
    passes = [a_pass for made in scores for a_pass in made.passes]
    got, found = rate(count, minutes), share(sum(a_pass.found for a_pass in passes), len(passes))
    inside = wanted / FACTOR <= got.value <= wanted * FACTOR
    surely = wanted / FACTOR <= got.low and got.high <= wanted * FACTOR
    print(
        f"  together {count} false alarms in {minutes:.1f} minutes: {got.value:.2f} a minute, 95 % interval "
        f"{got.low:.2f} to {got.high:.2f}\n"
        f"  within a factor of {FACTOR:g} of {wanted:g}: {'yes' if inside else 'no'}; the whole interval: "
        f"{'yes' if surely else 'no'}\n"
        f"  found {100 * found.value:.1f} % of {len(passes)} passes, {100 * found.low:.1f} to {100 * found.high:.1f} %"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rate", type=float, default=1.0, help="false alarms a minute to ask for")
    parser.add_argument("--minutes", type=float, default=6.0, help="length of each capture")
    parser.add_argument("--first-seed", type=int, default=5001)
    parser.add_argument("--keep", type=Path, metavar="DIR", help="a new folder for everything; else a temporary one")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "desk" if options.keep is None else options.keep.resolve()
        folder.mkdir(parents=True)
        course = Course(folder)
        seeds = {name: options.first_seed + number for number, name in enumerate(CAPTURES)}
        print(f"A course of {len(seeds)} simulated captures, {options.minutes * len(seeds):.0f} minutes in all")
        scenes = {name: scene_of(name, seed, options.minutes, fresh=False) for name, seed in seeds.items()}
        course.simulate("course", scenes)
        course.simulate("second-build", {
            name: replace(scene, seed=scene.seed + 2000, oscillator=replace(scene.oscillator, noise=NOISIER))
            for name, scene in scenes.items() if name.startswith(SECOND_SITE)
        })  # fmt: skip
        course.run("captures list", "captures", "list", "course")
        label(course)
        wanted = ("--false-alarms-per-minute", f"{options.rate:g}")
        tuned = "tuned.toml"
        course.run("tune", "tune", "course", *wanted, "--save-settings", tuned, "--picture", "pictures")
        course.run("tune, again", "tune", "course", *wanted, "--quiet")
        course.run("tune, by site", "tune", "course", *wanted, "--by", "site")
        course.run("compare, two settings", "compare", "course", "--settings", "defaults", tuned)
        builds = (f"course/{SECOND_SITE}", "--with", f"second-build/{SECOND_SITE}")
        course.run("compare, two builds", "compare", *builds, *wanted)
        course.run("report", "report", "course", "--settings", tuned, "--out", "page.html")
        course.run("report, again", "report", "course", "--settings", tuned, "--out", "again.html")
        sound = ("--sound", "sweep.wav", "--picture", "pictures")
        course.run("replay", "replay", f"{FIRST}.ccap", "--settings", tuned, *sound, "--quiet")
        for name in ("page.html", "sweep.wav"):
            print(f"{name}: {(folder / name).stat().st_size / 1e6:.2f} MB")
        course.simulate("fresh", {name: scene_of(name, seed + 1000, options.minutes, fresh=True)
                                  for name, seed in seeds.items()})  # fmt: skip
        judge_fresh(folder / "fresh", folder / tuned, options.rate)
        print(f"\n{'on this PC':<32}{'wall s':>8}{'peak MB':>9}")
        for title, wall_s, peak_mb in course.rows:
            print(f"{title:<32}{wall_s:>8.1f}{peak_mb:>9.0f}")


if __name__ == "__main__":
    piped.run(main)
