"""What a capture carries besides its readings, in words: the build, the settings, the labels beside it."""

from typing import Any

from coilcount.settings import defaults

_SHORT_HASH = 12  # characters of a hash that a person compares
_FEW = 8  # numbers of a list that are still printed
# Keys of a plan's [coil] that are printed, with their units.
_COIL = (("diameter_mm", "mm"), ("turns", "turns"), ("wire", ""), ("capacitor_nf", "nF"))


def build_words(build: Any) -> str:
    """The plan that was given while recording: its file, its coil and its hash."""
    if not isinstance(build, dict):
        return "no plan (record --build keeps it)"
    words = [str(build.get("file", "a plan"))]
    plan = build.get("plan")
    coil = plan.get("coil") if isinstance(plan, dict) else None
    if isinstance(coil, dict):
        words += [f"{coil[name]} {unit}".strip() for name, unit in _COIL if name in coil]
    if isinstance(build.get("sha256"), str):
        words.append(f"SHA-256 {build['sha256'][:_SHORT_HASH]}...")
    return ", ".join(words)


def learned_words(learned: Any) -> str:
    """What the tracker began with, of an earlier session."""
    if not isinstance(learned, dict) or not learned:
        return "nothing from earlier sessions"
    return f"soil learned on {str(learned.get('saved_utc'))[:10]} for coil {learned.get('coil')}"


def learned_object(learned: Any) -> dict[str, str] | None:
    """The same for JSON, without the numbers of the state."""
    if not isinstance(learned, dict) or not learned:
        return None
    return {name: str(learned.get(name)) for name in ("coil", "saved_utc")}


def build_check_words(build_check: Any) -> str:
    """The latest `check --build` of the recorded build: when, by what, what failed, and its file."""
    if not isinstance(build_check, dict):
        return "not checked against its plan (check --build)"
    check = build_check.get("check")
    check = check if isinstance(check, dict) else {}
    rows = check.get("check")
    rows = [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
    failures = [f"{row.get('name')} ({row.get('fault')})" for row in rows if row.get("verdict") == "failed"]
    good = sum(1 for row in rows if row.get("verdict") == "ok")
    words = [f"failed: {', '.join(failures[:_FEW])}" if failures else "nothing failed", f"{good} ok"]
    if check.get("bench") is True:
        words.append("by hand, without a board")
    if check.get("simulated") is True:
        words.append("simulated")
    return f"{check.get('checked_utc', 'unknown time')}: {', '.join(words)}; {build_check.get('file', 'a result')}"


def settings_words(settings: Any) -> str:
    """The settings that were in force while recording, as far as they differ from the defaults."""
    if not isinstance(settings, dict) or not settings:
        return "not recorded"
    usual = defaults().as_dict()
    changed = [
        f"{name} {_brief(value)}"
        for section, values in settings.items()
        if isinstance(values, dict)
        for name, value in values.items()
        if name not in usual.get(section, {}) or _plain(usual[section][name]) != _plain(value)
    ]
    return ", ".join(changed) + "; all others as by default" if changed else "as by default"


def label_words(counts: Any) -> str:
    """The labels beside a recording, by kind, and their file."""
    if counts.problem:
        return f"cannot be read: {counts.problem}"
    if not counts.path and not counts.proposed:
        return "none (coilcount label add)"
    words = [f"{number} {response}" for response, number in counts.by_response]
    words += [
        f"{number} {word}" for number, word in ((counts.nothing, "nothing"), (counts.proposed, "proposed")) if number
    ]
    text = ", ".join(words) or "nothing to find"
    return f"{text}: {counts.path}" if counts.path else text


def label_object(counts: Any) -> dict[str, Any]:
    """The counts of the labels beside a recording, for JSON."""
    return {
        "file": counts.path or None,
        "objects": counts.objects,
        "by_response": dict(counts.by_response),
        "nothing": counts.nothing,
        "proposed": counts.proposed,
        "problem": counts.problem,
    }


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _brief(value: Any) -> str:
    """A value in a few words: a noise profile has about 25 numbers."""
    return f"{len(value)} numbers" if isinstance(value, list | tuple) and len(value) > _FEW else str(value)
