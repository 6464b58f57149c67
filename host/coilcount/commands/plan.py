"""`coilcount plan`: computes a coil, its capacitor and what it will find, before any wire is wound."""

import argparse
import contextlib
import os
import re
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from coilcount.commands import plan_shape_options
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, say_json

EXAMPLES = (
    ("coilcount plan", "the plan of the standard coil"),
    ("coilcount plan --frequency 25k --drawer E12", "the turns and the capacitors for a frequency"),
    ("coilcount plan --compare diameter=10cm,15cm,20cm,30cm", "how deep coils of several sizes find a coin"),
    (
        'coilcount plan --diameter 20cm --target "rod steel 4mm 90mm" --save plan.toml',
        "another coil and an object of your own, kept in a plan file",
    ),
)

# option: (key of the plan file, unit, lowest, highest, an example, factor from the unit to the key, help)
COIL_QUANTITIES = {
    "diameter": ("diameter_mm", "m", 0.01, 1.0, "10cm", 1e3, "mean diameter of the winding"),
    "pitch": ("pitch_mm", "m", 2e-5, 0.02, "0.5mm", 1e3, "distance between the centres of neighbouring turns"),
    "groove": ("groove_mm", "m", 1e-4, 0.2, "5mm", 1e3, "width and depth of the room for the winding"),
    "capacitor": ("capacitor_nf", "F", 1e-10, 1e-4, "180n", 1e9, "value of the capacitor"),
    "measured-inductance": ("inductance_uh", "H", 1e-7, 1.0, "220uH", 1e6, "measured; the plan is computed from it"),
    **plan_shape_options.COIL_QUANTITIES,
}
PLAN_QUANTITIES = {
    "frequency": ("frequency_hz", "Hz", 1e3, 2e5, "25k", 1.0, "wanted; gives capacitor, with --drawer also turns"),
    "depth": ("depth_cm", "m", 0.005, 1.5, "10cm", 1e2, "below the surface, at which objects or coils are compared"),
    "height": ("height_cm", "m", 0.005, 1.0, "3cm", 1e2, "height of the coil above the ground"),
    "wobble": ("wobble_cm", "m", 0.0, 0.2, "0.4cm", 1e2, "how far that height varies (rms)"),
    "speed": ("speed_m_s", "m/s", 0.01, 5.0, "0.65m/s", 1.0, "speed of the sweep"),
    "tank-voltage": ("tank_peak_v", "V", 0.1, 200.0, "2.4V", 1.0, "peak voltage across the whole coil"),
    "supply": ("supply_ma", "A", 1e-4, 5.0, "52mA", 1e3, "current drawn from the battery by everything on it"),
    "battery": ("battery_mah", "Ah", 0.01, 100.0, "2000mAh", 1e3, "charge of the battery"),
    "tolerance": ("tolerance_percent", "%", 0.0, 50.0, "5%", 1.0, "tolerance of the capacitors"),
    "noise": ("noise_ppm", "ppm", 1e-4, 1e4, "3ppm", 1.0, "smallest shift that counts, from coilcount noise"),
    **plan_shape_options.PLAN_QUANTITIES,
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    from coilcount.schema.coil import DIELECTRICS, FORMERS, LAYOUTS
    from coilcount.schema.plan import OSCILLATORS

    # With this, --depth -5cm is refused as a depth and not taken for an option.
    parser._negative_number_matcher = re.compile(r"-\.?\d")
    parser.add_argument("--plan", metavar="PLAN.toml", help="start from a plan file; options override its values")
    parser.add_argument("--save", metavar="OUT.toml", help="write the plan as a file; it must not exist")
    parser.add_argument(
        "--save-settings", metavar="OUT.toml", help="write a settings file with this plan's interval and pass widths"
    )
    parser.add_argument("--picture", metavar="DIR", help="draw the plan into a folder (SVG, PNG)")
    parser.add_argument("--all", action="store_true", help="print the long form: every figure, not only the answer")
    parser.add_argument(
        "--object",
        action="append",
        default=[],
        metavar="NAME",
        help='an object of the short answer, such as "coin" or "steel lid"; may be given several times',
    )
    parser.add_argument(
        "--compare",
        metavar="NAME=VALUE,...",
        help="compare coils that differ in one thing: diameter=10cm,20cm, or turns, wire, frequency",
    )
    parser.add_argument("--json", action="store_true", help="the whole plan as one JSON object")
    parser.add_argument("--quiet", action="store_true", help="do not print the plan")
    parser.add_argument("--turns", type=int, metavar="N", help="number of turns")
    parser.add_argument(
        "--wire", metavar='"26 AWG"|0.4mm|20x0.1mm', help="bare diameter of the wire, or strands and their diameter"
    )
    plan_shape_options.add_arguments(parser)
    parser.add_argument("--layout", choices=LAYOUTS, help="how the turns lie")
    parser.add_argument("--former", choices=FORMERS, help="what holds the winding")
    parser.add_argument("--dielectric", choices=DIELECTRICS, help="dielectric of the capacitor")
    parser.add_argument("--oscillator", choices=OSCILLATORS, help="its noise class; plan --all says what they mean")
    parser.add_argument(
        "--centre-tap", action="store_true", default=None, help="also compute each half of a coil with a centre tap"
    )
    parser.add_argument(
        "--drawer", metavar="E12|VALUES", help='the capacitors at hand: an E-series, or values such as "100n, 68n"'
    )
    parser.add_argument(
        "--measured-frequency", metavar="25k", help="measured, with --capacitor: the plan is computed from it"
    )
    parser.add_argument(
        "--target",
        action="append",
        default=[],
        metavar="TEXT",
        help='an object such as "rod steel 4mm 90mm"; may be given several times',
    )
    for name, (_, _, _, _, example, _, text) in {**COIL_QUANTITIES, **PLAN_QUANTITIES}.items():
        parser.add_argument(f"--{name}", metavar=example, help=text)


def run(args: argparse.Namespace) -> int:
    # The matrices are small, so that several threads would only wait for one another.  numpy reads this when loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from coilcount.face.progress import Progress
    from coilcount.plan.make import calibrated, chosen, make_plan, short_plan

    progress = Progress(sys.stderr)
    plan = _inputs(args)
    if args.measured_frequency is not None:
        plan_shape_options.need_capacitor(args.capacitor, args.plan)
        plan = calibrated(plan, _quantity(args.measured_frequency, "Hz", "measured-frequency", 1e3, 2e5, "25k"))
    found = None
    if args.frequency is not None and args.capacitor is not None and args.measured_frequency is None:
        raise InputError("both --frequency and --capacitor are given", remedy="Give one: the other is computed from it")
    if args.frequency is not None:
        plan, found = chosen(plan, free_turns=_free_turns(args))
    objects = tuple(args.object)
    if args.compare is not None:
        return _compare(args, plan, progress)
    if not (args.all or args.json or args.picture or args.save_settings):
        short = short_plan(plan, found, objects)
        with _new_texts(_texts(args, plan, None)):
            pass
        if not args.quiet:
            from coilcount.face.plan_answer import print_answer

            print_answer(short, sys.stdout)
        return EXIT_DONE
    whole = make_plan(plan, found, curves=args.picture is not None, objects=objects)
    with _new_texts(_texts(args, plan, whole)):
        # Drawn before the texts appear: if the pictures fail, the same command can simply be run again.
        progress.say("drawing the pictures")
        pictures = _draw(whole, args.picture)
        progress.clear()
    for path in pictures:
        say(f"wrote {path}", out=sys.stderr)
    if args.json:
        from coilcount.model.plan import as_plain

        say_json(_rounded(as_plain(whole)))
    elif args.all and not args.quiet:
        from coilcount.face.plan_text import print_plan

        print_plan(whole, sys.stdout)
    elif not args.quiet:
        from coilcount.face.plan_answer import print_answer

        print_answer(whole, sys.stdout)
    return EXIT_DONE


def _compare(args: argparse.Namespace, plan: Any, progress: Any) -> int:
    from coilcount.plan.comparison import compare, parse_comparison

    if args.save_settings:
        raise InputError("--save-settings writes the settings of one coil", remedy="Leave out --compare")
    if len(args.object) > 1:
        raise InputError("--compare looks for one object", remedy="Give --object once")
    name, values = parse_comparison(args.compare)
    progress.say("comparing the coils")
    found = compare(plan, name, values, args.capacitor is not None, "".join(args.object))
    with _new_texts(_texts(args, plan, None)):
        pictures = _draw_coils(found, args.picture)
        progress.clear()
    for path in pictures:
        say(f"wrote {path}", out=sys.stderr)
    if args.json:
        from coilcount.model.plan import as_plain

        say_json(_rounded({"kind": "plan comparison", "basis": "computation", **as_plain(found)}))
    elif not args.quiet:
        from coilcount.face.plan_compare_text import print_comparison

        print_comparison(found, sys.stdout)
    return EXIT_DONE


def _texts(args: argparse.Namespace, plan: Any, whole: Any) -> dict[str, str]:
    """The new files that are asked for, as name: text."""
    texts = {}
    if args.save:
        from coilcount.schema.tables import to_toml

        texts[args.save] = to_toml(plan)
    if args.save_settings:
        from coilcount.plan.sweep import settings_text

        texts[args.save_settings] = settings_text(whole.sweep.widths_s, whole.sweep.interval_ms)
    return texts


def _free_turns(args: argparse.Namespace) -> bool:
    """Whether the turns are computed, too: with --drawer, unless they are given or the coil has been measured."""
    measured = args.measured_frequency is not None or args.measured_inductance is not None
    return args.drawer is not None and args.turns is None and not measured


def _inputs(args: argparse.Namespace) -> Any:
    from coilcount.plan.catalogue import parse_target
    from coilcount.schema.plan import PlanFile, read_plan

    plan = read_plan(Path(args.plan)) if args.plan else PlanFile()
    words = {name: getattr(args, name) for name in ("turns", "wire", "layout", "former", "dielectric", "centre_tap")}
    words |= {name: getattr(args, name) for name in plan_shape_options.WORDS}
    coil = {name: value for name, value in words.items() if value is not None}
    coil |= _given(args, COIL_QUANTITIES)
    if plan_shape_options.NEW_COIL & set(coil) and "inductance_uh" not in coil:
        coil["inductance_uh"] = None  # the value was measured on another coil
    plan_shape_options.settle_sizes(coil, plan.coil)
    own = tuple(parse_target(text) for text in args.target)
    changes = _given(args, PLAN_QUANTITIES) | ({} if args.drawer is None else {"drawer": args.drawer})
    changes |= {} if args.oscillator is None else {"oscillator": args.oscillator}
    if "wire" in coil:
        coil["wire"] = _wire(coil["wire"])
    checked = {name: value for name, value in coil.items() if value is not None}
    plan_shape_options.check_ranges(checked)  # the same ranges as in a file
    return replace(plan, **changes, coil=plan_shape_options.changed(plan.coil, coil), target=plan.target + own)


def _given(args: argparse.Namespace, table: dict[str, tuple]) -> dict[str, float]:
    found = {}
    for name, (key, unit, low, high, example, factor, _) in table.items():
        text = getattr(args, name.replace("-", "_"))
        if text is not None:
            found[key] = _quantity(text, unit, name, low, high, example) * factor
    return found


def _quantity(text: str, unit: str, name: str, low: float, high: float, example: str) -> float:
    from coilcount.plan.quantity import quantity

    return quantity(text, unit, f"--{name}", low, high, example)


def _wire(text: str) -> str:
    from coilcount.physics.wire import parse_wire

    try:
        parse_wire(text)
    except ValueError as error:
        raise InputError(str(error), "--wire") from None
    return text


def _draw(whole: Any, folder: str | None) -> list[Path]:
    if not folder:
        return []
    from coilcount.face.pictures import draw_plan

    return draw_plan(whole, Path(folder))


def _draw_coils(found: Any, folder: str | None) -> list[Path]:
    if not folder:
        return []
    from coilcount.face.picture_coils import draw_comparison

    return draw_comparison(found, Path(folder))


@contextlib.contextmanager
def _new_texts(texts: dict[str, str]) -> Iterator[None]:
    """Writes new files, given as name: text.  They appear after the body, all of them or none."""
    from coilcount.capture.failures import cannot_write
    from coilcount.new_files import new_paths

    name = ""
    try:
        with new_paths(*texts) as temporaries:
            for temporary, name in zip(temporaries, texts, strict=True):
                temporary.write_text(texts[name], encoding="utf-8")
            yield
    except OSError as error:
        raise cannot_write(error, name) from None


def _rounded(value: Any) -> Any:
    """Numbers rounded to seven digits: more than the physics knows, few enough to read."""
    if isinstance(value, float):
        return float(f"{value:.7g}")
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    return [_rounded(item) for item in value] if isinstance(value, list) else value
