"""Turns the sections of a plan, which are dicts, into the records of `model.plan`.

A section may not have a key that its record lacks, so a new figure needs a line in `model/plan.py`.
"""

from collections.abc import Iterable
from typing import Any

from coilcount.model import plan as records
from coilcount.model.plan_build import CableFigures, DriftFigures, OffsetFigures, PlanWarning, ShieldFigures


def coil_figures(section: dict[str, Any]) -> records.CoilFigures:
    halves, cable, shield = section["centre_tap"], section["cable"], section["shield"]
    return records.CoilFigures(
        **_tuples(section)
        | {
            "centre_tap": halves and records.CentreTap(**halves),
            "cable": cable and CableFigures(**cable),
            "shield": shield and ShieldFigures(**shield),
        }
    )


def capacitor_figures(section: dict[str, Any]) -> records.CapacitorFigures:
    return records.CapacitorFigures(
        **_tuples(section)
        | {
            "dielectrics": _rows(records.DielectricFigures, section["dielectrics"]),
            "choices": _rows(records.CapacitorChoice, section["choices"]),
        }
    )


def target_figures(rows: Iterable[dict[str, Any]]) -> tuple[records.TargetFigures, ...]:
    return _rows(records.TargetFigures, rows)


def iron_figures(section: dict[str, Any]) -> records.IronFigures:
    return records.IronFigures(**_tuples(section))


def drift_figures(section: dict[str, Any]) -> DriftFigures:
    return DriftFigures(**_tuples(section))


def offset_figures(section: dict[str, Any]) -> OffsetFigures:
    return OffsetFigures(**section)


def warnings_of(rows: Iterable[dict[str, Any]]) -> tuple[PlanWarning, ...]:
    return _rows(PlanWarning, rows)


def power_figures(section: dict[str, Any]) -> records.PowerFigures:
    return records.PowerFigures(**section)


def _rows(record: type, rows: Iterable[dict[str, Any]]) -> tuple[Any, ...]:
    return tuple(record(**_tuples(row)) for row in rows)


def _tuples(section: dict[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in section.items()}
