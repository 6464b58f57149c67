"""`coilcount check --build`: the judgement of a build against its plan, and the command on the real firmware."""

import json
import os
import pty
import subprocess
import sys
import threading
from dataclasses import replace

import pytest
from coilcount.capture.entries import decode
from coilcount.check import faults
from coilcount.check.build import compare_build
from coilcount.check.evidence import Evidence, Finding, failed
from coilcount.check.questions import QUESTIONS
from coilcount.commands.cli import main
from coilcount.plan.expected import expectations, reading_sigma
from coilcount.schema.build_check import MOSFET, MOSFET_LIMITED, PAIR, Answers, read_answers
from coilcount.schema.plan import USUAL_COIL, PlanFile
from coilcount.schema.tables import to_toml

PLAN = PlanFile(coil=replace(USUAL_COIL, centre_tap=True))
UNTAPPED = PlanFile()
EXPECTED = expectations(PLAN, PAIR, 0.02, 60.0)
GOOD = {question.key: EXPECTED.ranges[question.key].value for question in QUESTIONS}


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(to_toml(PLAN))
    return path


def judged(hz=None, answers=None, amplitude_share=None, expected=EXPECTED):
    """The fault of each failed finding by name; hz None: no edge came."""
    found = [failed("coil", faults.NO_COIL, "") if hz is None else Finding("frequency", "ok", "")]
    findings = compare_build(found, Evidence(None, 60.0, frequency_hz=hz), expected, answers or {}, amplitude_share)
    return {finding.name: finding.fault for finding in findings if finding.verdict == "failed"}


def test_a_build_as_planned_fails_nothing():
    assert judged(25_000.0, GOOD) == {}
    assert set(EXPECTED.ranges) == set(GOOD) | {"frequency_hz"}
    assert set(GOOD) == set(Answers.__dataclass_fields__) - {"oscillator"}


@pytest.mark.parametrize(
    ("hz", "answers", "share", "fault"),
    [
        # 220 nF in the place of 180: the swing falls with 1/C.
        (22_615.0, {"capacitor_nf": 220.0}, None, faults.WRONG_CAPACITOR),
        (22_615.0, {"coil_resistance_ohm": 1.3}, None, faults.WRONG_CAPACITOR),
        (22_615.0, {"inductance_uh": 224.0}, None, faults.WRONG_CAPACITOR),
        (22_615.0, {}, 0.82, faults.WRONG_CAPACITOR),
        (30_600.0, {"end_swing_v": 3.4}, None, faults.WRONG_CAPACITOR),
        # 26 turns in the place of 30, and 36
        (28_800.0, {"coil_resistance_ohm": 1.10}, None, faults.WRONG_TURNS),
        (28_800.0, {}, 0.87, faults.WRONG_TURNS),
        (20_900.0, {}, 1.2, faults.WRONG_TURNS),
        # a closed loop: less inductance, far more loss
        (28_630.0, {"end_swing_v": 0.8}, None, faults.SHORTED_TURN),
        (28_630.0, {}, 0.36, faults.SHORTED_TURN),
        (28_630.0, {"inductance_uh": 170.0, "coil_resistance_ohm": 1.3}, None, faults.SHORTED_TURN),
        # nothing more is known
        (28_630.0, {}, None, faults.FREQUENCY_HIGH),
        (28_630.0, {"coil_resistance_ohm": 1.3}, None, faults.FREQUENCY_HIGH),
        (22_615.0, {}, None, faults.FREQUENCY_LOW),
        # no edge: the signal is followed from the coil to the pin
        (None, {}, None, faults.NO_COIL),
        (None, GOOD | {"coil_resistance_ohm": 1e8}, None, faults.COIL_OPEN),
        (None, GOOD | {"coil_resistance_ohm": 0.1}, None, faults.COIL_SHORT),
        (None, GOOD | {"oscillator_ma": 0.2}, None, faults.CURRENT_LOW),
        (None, GOOD | {"end_swing_v": 0.02}, None, faults.NO_SWING),
        (None, {"oscillator_ma": 6.4, "emitters_v": 1.04}, None, faults.NO_SWING),
        (None, {"oscillator_ma": 6.4, "emitters_v": 1.38, "pin_average_v": 0.0}, None, faults.INPUT_STAGE),
        (None, {"oscillator_ma": 6.4, "end_swing_v": 2.3, "pin_average_v": 3.3}, None, faults.INPUT_STAGE),
        (None, GOOD, None, faults.WRONG_PIN),
    ],
)  # fmt: skip
def test_each_fault_of_the_whole_build_is_named(hz, answers, share, fault):
    assert judged(hz, answers, share)["coil" if hz is None else "frequency"] is fault
    assert fault.id and fault.cause and fault.remedy


def test_each_reading_out_of_its_range_has_a_fault():
    for question in QUESTIONS:
        low, _, high = EXPECTED.ranges[question.key]
        assert judged(25_000.0, {question.key: low - 0.01}) == {
            question.name: question.low if question.key != "coil_resistance_ohm" or low > 0.4 else faults.COIL_SHORT
        }
        assert judged(25_000.0, {question.key: high + 0.01}) == {question.name: question.high}
        assert judged(25_000.0, {question.key: low}) == judged(25_000.0, {question.key: high}) == {}


def test_every_fault_of_a_build_has_an_id_of_its_own():
    ids = [fault.id for fault in (*faults.FAULTS, *faults.BUILD_FAULTS)]
    assert len(set(ids)) == len(ids)


def test_noise_and_drift_are_compared_with_the_classes_and_the_capacitor_of_the_plan():
    def of(finding):
        return compare_build([finding], Evidence(None, 60.0), EXPECTED, {})[-1]

    quiet, loud = (Finding("noise", "ok", "", {"noise_ppm": ppm}) for ppm in (0.1, 3.0))
    assert of(quiet).verdict == "ok" and "careful" in of(quiet).text
    assert of(loud).fault is faults.NOISE
    drift = failed("drift", faults.DRIFT, "", {"drift_ppm_a_minute": 12.0})
    # C0G and this coil drift by 27 ppm/K at most: 12 ppm a minute are 0.44 K, 60 ppm a minute are another capacitor.
    assert of(drift).fault is faults.DRIFT
    assert of(replace(drift, figures={"drift_ppm_a_minute": 60.0})).fault is faults.WRONG_DIELECTRIC


def test_the_expected_noise_is_that_of_simulated_readings():
    """The formula against readings made from the same noise class: 20 runs of 60 s."""
    import numpy as np
    from coilcount.physics.noise import NOISE_CLASSES, PowerLawNoise

    noise = NOISE_CLASSES["typical"]
    runs = [
        PowerLawNoise(np.random.default_rng(seed), 0.02, noise.h0, noise.h_minus1, noise.h_minus2).block(3000)
        for seed in range(20)
    ]
    found = np.sqrt(np.mean([np.var(run) for run in runs]))
    assert reading_sigma(noise, 0.02, 60.0) == pytest.approx(found, rel=0.3)


def test_each_oscillator_swings_and_draws_as_the_simulation_found():
    mosfet = expectations(PLAN, MOSFET, 0.02, 60.0).ranges
    limited = expectations(PLAN, MOSFET_LIMITED, 0.02, 60.0).ranges
    # What ngspice finds for the default coil (tests/support/circuit_checks.py).  The plan's Q is 4 % lower, because it
    # counts the loss of the capacitor.
    for ranges, volt, milliampere in ((mosfet, 27.0, 51), (limited, 11.3, 25), (EXPECTED.ranges, 2.40, 7.4)):
        assert ranges["end_swing_v"].value == pytest.approx(volt, rel=0.05)
        assert ranges["oscillator_ma"].value == pytest.approx(milliampere, rel=0.06)
    assert EXPECTED.ranges["emitters_v"].value == pytest.approx(1.38, abs=0.02)
    assert "emitters_v" not in mosfet
    # Board, display and piezo take 45 mA.
    for ranges, milliampere in ((mosfet, 96), (limited, 70), (EXPECTED.ranges, 52)):
        assert ranges["supply_ma"].value == pytest.approx(milliampere, rel=0.03)


def test_a_coil_without_a_tap_is_expected_with_its_feed_resistors():
    """1.3 V and the same current (simulated, tests/hardware); the other oscillators need a tap."""
    untapped = expectations(UNTAPPED, PAIR, 0.02, 60.0)
    assert untapped.ranges["end_swing_v"].value == pytest.approx(1.29, rel=0.05)
    assert untapped.ranges["oscillator_ma"] == EXPECTED.ranges["oscillator_ma"]
    assert "470 ohm from each coil end" in untapped.note and EXPECTED.note == ""
    assert "needs a centre tap" in expectations(UNTAPPED, MOSFET, 0.02, 60.0).note
    # A closed loop and another capacitor are still told apart by the swing.
    assert judged(28_630.0, {"end_swing_v": 0.53 * 1.28}, expected=untapped)["frequency"] is faults.SHORTED_TURN
    assert judged(22_615.0, {"end_swing_v": 0.90 * 1.28}, expected=untapped)["frequency"] is faults.WRONG_CAPACITOR


def check(words, capsys):
    code = main(["check", *map(str, words)])
    return code, [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_the_faults_of_a_build_on_the_real_firmware(plan, capsys):
    """The virtual board as planned, then with a wrong capacitor, a closed loop and a dead oscillator."""
    code, found = check(["--build", plan, "--virtual", "--for", 1, "--json"], capsys)
    assert code == 0 and found[-1]["ok"] and found[-1]["kept"] == str(plan.with_name("plan.check.toml"))
    scenes = {
        "wrong-capacitor": ("frequency", faults.WRONG_CAPACITOR),
        "shorted-turn": ("frequency", faults.SHORTED_TURN),
        "dead-oscillator": ("coil", faults.NO_SWING),
    }
    answers = plan.with_name("answers.toml")
    for scene, (name, fault) in scenes.items():
        words = ["--build", plan, "--virtual", "--scene", scene, "--for", 1, "--json"]
        if scene == "dead-oscillator":
            answers.write_text("oscillator_ma = 6.0\nend_swing_v = 0.01\n")
            words += ["--answers", answers]
        code, found = check(words, capsys)
        (row,) = [row for row in found if row.get("name") == name]
        assert code == 1 and (row["fault"], row["cause"], row["remedy"]) == fault
    # Each result has a file of its own.
    assert [path.name for path in sorted(plan.parent.glob("plan.check*"))] == [
        "plan.check-2.toml", "plan.check-3.toml", "plan.check-4.toml", "plan.check.toml",
    ]  # fmt: skip
    assert read_answers(plan.with_name("plan.check-4.toml")).oscillator_ma == 6.0


def test_a_recording_carries_the_latest_check_of_its_plan(plan, tmp_path, capsys):
    answers = tmp_path / "answers.toml"
    answers.write_text("coil_resistance_ohm = 1.3\nduty_percent = 80\n")
    code, _ = check(["--build", plan, "--bench", "--answers", answers, "--json"], capsys)
    assert code == 1

    def recorded(name):
        words = ["record", str(tmp_path / name), "--virtual", "--for", "0.3", "--build", str(plan), "--quiet"]
        assert main(words) == 0
        return decode((tmp_path / name).read_bytes().splitlines()[0])

    header = recorded("a.ccap")
    assert header.build_check["file"] == "plan.check.toml"
    assert header.build_check["check"]["answers"]["duty_percent"] == 80
    assert [row["fault"] for row in header.build_check["check"]["check"]] == ["", "duty"]
    for words in (["inspect"], ["replay"]):
        assert main([*words, str(tmp_path / "a.ccap")]) == 0
        assert "failed: duty (duty), 1 ok, by hand, without a board; plan.check.toml" in capsys.readouterr().out
    # The plan is another one now: its old result no longer belongs to it.
    plan.write_text(plan.read_text() + "# changed\n")
    assert recorded("b.ccap").build_check is None
    assert main(["inspect", str(tmp_path / "b.ccap")]) == 0
    assert "not checked against its plan" in capsys.readouterr().out


def test_a_real_recording_never_carries_a_simulated_check(plan, capsys):
    """Two results: a real one without a board, then a simulated one."""
    from coilcount.commands.listening import build_check

    answers = plan.with_name("answers.toml")
    answers.write_text("mid_v = 1.6\n")
    assert main(["check", "--build", str(plan), "--bench", "--answers", str(answers), "--quiet"]) == 0
    text = plan.with_name("plan.check.toml").read_text()
    plan.with_name("plan.check-2.toml").write_text(text.replace("simulated = false", "simulated = true"))
    assert build_check(str(plan), simulated=True)["file"] == "plan.check-2.toml"
    assert build_check(str(plan), simulated=False)["file"] == "plan.check.toml"


def test_a_person_is_asked_at_the_terminal(plan):
    """Wrong words are asked for again, Enter skips, Ctrl-D leaves out the rest; the next run offers the answers."""
    code, out = at_a_terminal(plan, b"pear\n\n1,3 ohm\n\nx\n180\n-3\n\n\x04")
    assert code == 0
    assert "Give one of pair, mosfet" in out and "Give a number in nF" in out and "oscillator_v is -3" in out
    kept = read_answers(plan.with_name("plan.check.toml"))
    assert (kept.coil_resistance_ohm, kept.inductance_uh, kept.capacitor_nf) == (1.3, None, 180.0)
    code, out = at_a_terminal(plan, b"\n\n\n-\n\x04")
    assert code == 0 and "Enter keeps 1.3 of the last check" in out
    kept = read_answers(plan.with_name("plan.check-2.toml"))
    assert (kept.coil_resistance_ohm, kept.capacitor_nf) == (1.3, None)
    code, out = at_a_terminal(plan, b"\nopen\n\x04")
    assert code == 1 and "a broken wire" in out


def at_a_terminal(plan, keys: bytes) -> tuple[int, str]:
    """Run the bench part of the check in a real terminal; returns its exit code and everything it showed."""
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "coilcount", "check", "--build", str(plan), "--bench"]
    process = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs)
    os.close(theirs)
    shown = []

    def read():
        while True:
            try:
                data = os.read(ours, 4096)
            except OSError:  # Linux: the last process has closed the terminal
                return
            if not data:
                return
            shown.append(data)

    reader = threading.Thread(target=read)
    reader.start()
    os.write(ours, keys)
    code = process.wait(60)
    reader.join(60)
    os.close(ours)
    return code, b"".join(shown).decode()


def test_what_is_expected_is_printed_without_a_board(plan, capsys):
    assert main(["check", "--build", str(plan), "--expect"]) == 0
    out = capsys.readouterr().out
    assert all(question.how in out for question in QUESTIONS) and "25.00 kHz (23.92 to 27.03)" in out
    code, (found,) = check(["--build", plan, "--expect", "--json"], capsys)
    assert code == 0 and set(found["ranges"]) == set(EXPECTED.ranges) and found["note"] == ""
    plan.write_text(to_toml(UNTAPPED))
    assert main(["check", "--build", str(plan), "--expect"]) == 0
    assert "has no centre tap" in capsys.readouterr().out
    assert not list(plan.parent.glob("*.check*"))


def test_a_check_without_a_reading_does_not_say_that_nothing_failed(plan, capsys):
    answers = plan.with_name("answers.toml")
    answers.write_text("")
    assert main(["check", "--build", str(plan), "--bench", "--answers", str(answers)]) == 0
    out = capsys.readouterr().out
    assert "nothing was checked: no reading was given" in out and "nothing failed" not in out


@pytest.mark.parametrize(
    ("words", "text", "message"),
    [
        (["--bench"], "", "--bench needs a plan"),
        (["--build", "{plan}", "--lowest-hz", "1000"], "", "--lowest-hz and --build are both given"),
        (["--build", "{plan}", "--answers", "{answers}", "--bench"], "duty = 50", 'there is no key "duty"'),
        (["--build", "{plan}", "--answers", "{answers}", "--bench"], "duty_percent = 150", "lie between 0 and 100"),
        (["--build", "{plan}", "--answers", "{plan}x", "--bench"], "", "no such file of answers"),
        (["--build", "{answers}", "--bench"], "turns = 30", 'there is no key "turns"'),
    ],
)
def test_wrong_input_is_one_line(plan, tmp_path, capsys, words, text, message):
    answers = tmp_path / "answers.toml"
    answers.write_text(text)
    assert main(["check", *(word.format(plan=plan, answers=answers) for word in words)]) == 2
    err = capsys.readouterr().err
    assert message in err and err.count("\n") == 1


def test_a_broken_result_beside_the_plan_is_named_with_its_remedy(plan, capsys):
    plan.with_name("plan.check.toml").write_text("schema = 1\n")
    assert main(["record", str(plan.with_name("a.ccap")), "--virtual", "--build", str(plan)]) == 2
    assert "plan.check.toml). Add it, or move this file away" in capsys.readouterr().err
