"""Every run draws the same examples, and a slow machine is no failure.  Which tests are slow stands here alone."""

import os

import pytest
from hypothesis import HealthCheck, settings

# No check of time: on a busy computer it would fail tests that are right.
settings.register_profile("same", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("same")

# No test keeps what a tracker learned in the home folder, or begins with that.  Some set a folder of their own.
os.environ["COILCOUNT_LEARNED"] = "off"

# What takes long: whole processes, solvers, long recordings, many examples.  `pytest -m "not slow"` leaves them out.
SLOW = (
    "face/test_page_",
    "board/test_link.py",
    "board/test_settings_board.py",
    "capture/test_capture_background.py",
    "capture/test_capture_labels.py::test_labels_with_any_text",
    "capture/test_capture_parts.py::test_parts_replay",
    "capture/test_capture.py::test_any_cut",
    "capture/test_capture_gz.py::test_any_cut",
    "capture/test_capture_gz.py::test_gz_members",
    "check/test_check.py::test_the_command_on_the_real_firmware",
    "check/test_check.py::test_a_coil_that_stops",
    "check/test_check.py::test_json_names_the_fault",
    "check/test_check.py::test_the_clocks_ratio",
    "check/test_check_build.py::test_the_faults_of_a_build",
    "check/test_check_build.py::test_a_recording_carries",
    "check/test_check_build.py::test_a_person_is_asked",
    "commands/test_report.py",
    "commands/test_bounded.py",
    "commands/test_compare_command.py",
    "commands/test_fuzz.py",
    "commands/test_new_files.py",
    "commands/test_noise_command.py",
    "commands/test_plan_command.py",
    "commands/test_recording_and_stdout.py",
    "commands/test_replay",
    "commands/test_spiked_logs.py",
    "commands/test_text_from_outside.py",
    "commands/test_tune_command.py",
    "deploy/test_install.py",
    "desk/test_cache.py::test_two_processes",
    "desk/test_many.py",
    "desk/test_compare_seeds.py",
    "desk/test_noise_",
    "desk/test_tune_choice.py::test_the_rate_is_reached",
    "face/test_picture_replay.py",
    "face/test_player.py",
    "firmware/test_chip_image.py",
    "firmware/test_chip_scenarios.py",
    "firmware/test_firmware.py",
    "firmware/test_firmware_flags.py",
    "firmware/test_firmware_usb.py",
    "firmware/test_silicon_",
    "hardware/test_changed_values.py",
    "hardware/test_drawings.py",
    "hardware/test_expected_and_circuit.py",
    "hardware/test_inputs.py",
    "hardware/test_oscillators.py",
    "hardware/test_plan_and_circuit.py",
    "hardware/test_supply.py",
    "hardware/test_wiring_page.py::test_volts",
    "live/test_boundary.py::test_a_recording_goes_on_when_its_output",
    "live/test_live_s",
    "live/test_kept_soil.py",
    "physics/test_physics_targets.py::test_finite_elements",
    "physics/test_trade_facts.py::test_a_big_chunk",
    "plan/test_plan_bodies.py",
    "plan/test_plan_depths.py",
    "protocol/test_protocol.py::test_no_damaged_line",
    "readings/test_readings_frequency.py",
    "readings/test_readings_timebase.py::test_never_backwards",
    "simulate/test_simulate_edges.py",
    "test_developers.py",
    "simulate/test_simulate_capture.py",
    "simulate/test_simulate_lines.py",
    "simulate/test_simulate_signal.py",
    "tracker/test_tracker.py::test_memory",
    "tracker/test_tracker.py::test_the_scale",
    "tracker/test_tracker_series.py::test_a_miscounted",
    "tracker/test_tracker_single_precision.py",
    "tracker/test_tracker_spikes.py",
    "tracker/test_tracker_two_interpreters.py",
    "virtual/test_virtual.py",
)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    for item in items:
        if item.nodeid.removeprefix("tests/").startswith(SLOW):
            item.add_marker(pytest.mark.slow)
