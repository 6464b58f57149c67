"""Compares a build with its plan, and names the cause if several readings together point to one.  Pure."""

from collections.abc import Iterator, Mapping, Sequence
from math import log

from coilcount.check import faults
from coilcount.check.evidence import FAILED, NOT_CHECKED, OK, Evidence, Finding, failed
from coilcount.check.faults import Fault
from coilcount.check.questions import QUESTIONS
from coilcount.model.build import BuildExpectations, Expectation

# ohm.  A coil with more than this is open.  Chosen by hand: no planned coil has a tenth of it.
_OPEN_OHM = 1000.0
# Share of the expected resistance below which the coil is shorted.  Chosen by hand.
_SHORTED = 0.3
# Share of the expected swing or amplitude below which loss is the cause of a high frequency.  Chosen by hand.  Half the
# turns would leave 0.5, and the frequency would double; closed shields leave 0.36 and less (computed: a loop of 0.25 uH
# and 0.008 ohm, coupling 0.5).
_LOSSY = 0.6
# Shares of the expected current and swing below which the oscillator is called dead.  Chosen by hand.
_NO_CURRENT, _NO_SWING = 0.3, 0.1
# K a minute.  Indoors, a coil at rest changes its temperature more slowly than this.  Chosen by hand.
_RESTING_K_PER_MINUTE = 0.5


def compare_build(
    found: Sequence[Finding],
    evidence: Evidence | None,
    expected: BuildExpectations,
    answers: Mapping[str, float],
    amplitude_share: float | None = None,
) -> list[Finding]:
    """The findings with those that the plan can judge better in their places, and those of the answers before them.

    found: of `verdicts.evaluate`, empty without a board; evidence: None without a board; answers: readings by the key
    of their question; amplitude_share: amplitude that the board sent as a share of the calibrated one, None if unknown.
    """
    result = list(judge_answers(expected, answers))
    for finding in found:
        if finding.name == "frequency":
            finding = _frequency(evidence.frequency_hz, expected, answers, amplitude_share)
        elif finding.name == "coil":
            finding = _dead(expected, answers)
        elif finding.name == "noise":
            finding = _noise(finding, expected)
        elif finding.name == "drift":
            finding = _drift(finding, expected)
        result.append(finding)
    return result


def judge_answers(expected: BuildExpectations, answers: Mapping[str, float]) -> Iterator[Finding]:
    """One finding for each question, whether it was answered or not."""
    for question in QUESTIONS:
        range_ = expected.ranges.get(question.key)
        if range_ is None:  # another oscillator has no such point
            continue
        measured = answers.get(question.key)
        figures = {"measured": measured, "low": range_.low, "expected": range_.value, "high": range_.high}
        limits = range_text(range_, question.unit)
        if measured is None:
            yield Finding(question.name, NOT_CHECKED, f"no reading by {question.tool}; expected {limits}", figures)
        elif range_.holds(measured):
            text = f"{measured:.4g} {question.unit}, expected {limits}"
            yield Finding(question.name, OK, text, figures)
        else:
            fault = _answer_fault(question.key, measured, range_) or (
                question.low if measured < range_.low else question.high
            )
            value = "open" if fault is faults.COIL_OPEN else f"{measured:.4g} {question.unit}"
            yield failed(question.name, fault, f"{value}, expected {limits}", figures)


def range_text(range_: Expectation, unit: str) -> str:
    """A range in words, with the value that the plan computes."""
    return f"{range_.value:.3g} {unit} ({range_.low:.3g} to {range_.high:.3g})"


def _answer_fault(key: str, measured: float, range_: Expectation) -> Fault | None:
    if key == "coil_resistance_ohm" and measured > _OPEN_OHM:
        return faults.COIL_OPEN
    if key == "coil_resistance_ohm" and measured < _SHORTED * range_.value:
        return faults.COIL_SHORT
    return None


def _frequency(
    measured_hz: float, expected: BuildExpectations, answers: Mapping[str, float], amplitude_share: float | None
) -> Finding:
    range_ = expected.ranges["frequency_hz"]
    planned_nf, planned_uh = expected.ranges["capacitor_nf"].value, expected.ranges["inductance_uh"].value
    # f^2 is proportional to 1/(LC).  This gives the values that explain the frequency if only one of them is wrong.
    square = (range_.value / measured_hz) ** 2
    figures = {
        "frequency_hz": measured_hz, "low": range_.low, "expected": range_.value, "high": range_.high,
        "capacitor_nf": planned_nf * square, "inductance_uh": planned_uh * square,
    }  # fmt: skip
    limits = f"{range_.value / 1e3:.2f} kHz ({range_.low / 1e3:.2f} to {range_.high / 1e3:.2f})"
    if range_.holds(measured_hz):
        text = f"{measured_hz:.3f} Hz, expected {limits}; {planned_uh * square:.1f} uH if the capacitor is as planned"
        return Finding("frequency", OK, text, figures)
    text = (
        f"{measured_hz / 1e3:.3f} kHz, expected {limits}: as with {planned_nf * square:.3g} nF, "
        f"or with {planned_uh * square:.3g} uH"
    )
    fault = _frequency_fault(measured_hz / range_.value, expected, answers, amplitude_share)
    return failed("frequency", fault, text, figures)


def _frequency_fault(
    ratio: float, expected: BuildExpectations, answers: Mapping[str, float], amplitude_share: float | None
) -> Fault:
    """The cause of a wrong frequency.  ratio: measured over planned frequency.

    A part that was measured itself decides first.  Then the swing does.  It is proportional to L/(RC): a capacitor
    alone changes it by ratio^2, turns change it by 1/ratio, and a closed loop lowers it far more.
    """
    capacitor, inductance, turns = (
        _side(expected, answers, key) for key in ("capacitor_nf", "inductance_uh", "coil_resistance_ohm")
    )
    is_high = ratio > 1
    wanted = -1 if is_high else 1  # a high frequency comes from too little L or C
    if capacitor == wanted or (inductance == 0 and capacitor is None):
        return faults.WRONG_CAPACITOR
    if turns == wanted:
        return faults.WRONG_TURNS
    swing = _swing_share(expected, answers, amplitude_share)
    if is_high and ((swing is not None and swing < _LOSSY) or (inductance == -1 and turns == 0)):
        return faults.SHORTED_TURN
    # Turns that are right leave a high frequency open: a closed loop does not change the resistance.
    by_turns = turns == 0 and not is_high
    by_swing = bool(swing) and abs(log(swing / ratio**2)) < abs(log(swing * ratio))
    if capacitor is None and (by_turns or by_swing):
        return faults.WRONG_CAPACITOR
    if swing and turns is None and not by_swing:
        return faults.WRONG_TURNS
    return faults.FREQUENCY_HIGH if is_high else faults.FREQUENCY_LOW


def _side(expected: BuildExpectations, answers: Mapping[str, float], key: str) -> int | None:
    """-1, 0, +1 if a reading is below, in or above its range; None without a reading."""
    if key not in answers:
        return None
    low, _, high = expected.ranges[key]
    return (answers[key] > high) - (answers[key] < low)


def _swing_share(
    expected: BuildExpectations, answers: Mapping[str, float], amplitude_share: float | None
) -> float | None:
    """Swing as a share of the expected one; None if it is unknown or does not follow the loss."""
    if not expected.amplitude_follows_loss:
        return None
    if "end_swing_v" in answers:
        return answers["end_swing_v"] / expected.ranges["end_swing_v"].value
    return amplitude_share


def _dead(expected: BuildExpectations, answers: Mapping[str, float]) -> Finding:
    """No edge came.  The first reading in the order of the signal that is wrong says where it ends."""
    text = "no edge was counted"
    resistance = answers.get("coil_resistance_ohm")
    if resistance is not None and (
        fault := _answer_fault("coil_resistance_ohm", resistance, expected.ranges["coil_resistance_ohm"])
    ):
        return failed("coil", fault, f"{text}, and the coil is {'open' if resistance > _OPEN_OHM else 'shorted'}")
    current, swing = answers.get("oscillator_ma"), answers.get("end_swing_v")
    if current is not None and current < _NO_CURRENT * expected.ranges["oscillator_ma"].value:
        return failed("coil", faults.CURRENT_LOW, f"{text}, and the oscillator draws only {current:.3g} mA")
    if swing is not None and swing < _NO_SWING * expected.ranges["end_swing_v"].value:
        return failed("coil", faults.NO_SWING, f"{text}, and the coil end swings by only {swing:.3g} V")
    emitters = answers.get("emitters_v")
    if swing is None and emitters is not None and "emitters_v" in expected.ranges:
        if emitters < expected.ranges["emitters_v"].low:
            return failed("coil", faults.NO_SWING, f"{text}, and the emitters stand at {emitters:.3g} V as at rest")
        swings = True
    else:
        swings = swing is not None
    if any(expected.ranges[key].holds(answers[key]) for key in ("duty_percent", "pin_average_v") if key in answers):
        return failed("coil", faults.WRONG_PIN, f"{text}, although the squared signal is there")
    if swings:
        return failed("coil", faults.INPUT_STAGE, f"{text}, although the oscillator runs")
    return failed("coil", faults.NO_COIL, f"{text}; readings of current, swing and pin would say where it ends")


def _noise(finding: Finding, expected: BuildExpectations) -> Finding:
    """The noise beside the classes of the plan."""
    noise_ppm = finding.figures.get("noise_ppm")
    if noise_ppm is None:
        return finding
    classes = expected.noise_ppm
    better = [name for name, ppm in classes.items() if noise_ppm <= ppm]
    word = f"within the class {better[0]} ({classes[better[0]]:.2f} ppm)" if better else "above every class of the plan"
    text = f"{noise_ppm:.3f} ppm, standard deviation of one reading: {word}"
    figures = {**finding.figures, **{f"{name}_ppm": ppm for name, ppm in classes.items()}}
    if noise_ppm <= classes["typical"]:
        return Finding("noise", OK, text, figures)
    return failed("noise", faults.NOISE, text, figures)


def _drift(finding: Finding, expected: BuildExpectations) -> Finding:
    """The drift as the change of temperature that would explain it with the planned capacitor."""
    drift = finding.figures.get("drift_ppm_a_minute")
    if drift is None:
        return finding
    low, high = expected.drift_ppm_per_k
    worst = max(abs(low), abs(high))
    figures = {**finding.figures, "low_ppm_per_k": low, "high_ppm_per_k": high}
    text = (
        f"{finding.text}; the plan's coil with {expected.dielectric} drifts by {low:.0f} to {high:.0f} ppm/K, so this "
        f"is at least {abs(drift) / worst:.2f} K a minute"
    )
    if finding.verdict != FAILED:
        return Finding("drift", finding.verdict, text, figures)
    fault = faults.WRONG_DIELECTRIC if abs(drift) > worst * _RESTING_K_PER_MINUTE else finding.fault
    return failed("drift", fault, text, figures)
