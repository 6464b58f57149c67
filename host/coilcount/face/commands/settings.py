"""`coilcount settings show`: what is in force and from where."""

import argparse
import json

from coilcount.errors import EXIT_DONE


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("action", choices=("show",), help="show: the settings in force")
    parser.add_argument("--settings", metavar="T", help="a settings file (TOML)")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="one JSON object")
    form.add_argument("--toml", action="store_true", help="a settings file with every key, to begin from")


def run(args: argparse.Namespace) -> int:
    from coilcount.settings import SCHEMA, SECTIONS, load_settings

    settings = load_settings(args.settings)
    if args.toml:
        print(settings.to_toml(), end="")
        return EXIT_DONE
    values = settings.as_dict()
    if args.json:
        shown = {
            section: {
                row.name: {
                    "value": values[section][row.name],
                    "unit": row.unit,
                    "from": settings.origins[f"{section}.{row.name}"],
                }
                for row in rows
            }
            for section, rows in SECTIONS.items()
        }
        print(json.dumps({"kind": "settings", "schema": SCHEMA, "sha256": settings.sha256(), "settings": shown}))
        return EXIT_DONE
    for section, rows in SECTIONS.items():
        print(f"[{section}]")
        for row in rows:
            value = f"{json.dumps(values[section][row.name])} {row.unit}".rstrip()
            print(f"  {row.name:<18} {value:<28} {settings.origins[f'{section}.{row.name}']}")
    print(f"sha256 {settings.sha256()}")
    return EXIT_DONE
