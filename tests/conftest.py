"""Every run draws the same examples, and a slow machine is no failure.  Which tests are slow stands here alone."""

import pytest
from hypothesis import settings

settings.register_profile("same", derandomize=True, deadline=None)
settings.load_profile("same")

# What takes more than a second: whole processes, solvers, long recordings.  `pytest -m "not slow"` leaves them out.
SLOW = (
    "board/test_settings_board.py",
    "capture/test_capture_background.py",
    "check/test_check.py::test_the_command_on_the_real_firmware",
    "check/test_check.py::test_a_coil_that_stops",
    "commands/test_bounded.py",
    "commands/test_fuzz.py",
    "commands/test_new_files.py",
    "commands/test_noise_command.py",
    "commands/test_plan_command.py",
    "commands/test_text_from_outside.py",
    "deploy/test_install.py",
    "desk/test_noise_",
    "firmware/test_silicon_",
    "live/test_boundary.py::test_a_recording_goes_on_when_its_output",
    "live/test_live_session.py",
    "physics/test_physics_targets.py::test_finite_elements",
    "physics/test_trade_facts.py::test_a_big_chunk",
    "plan/test_plan_bodies.py",
    "simulate/test_simulate_capture.py",
    "simulate/test_simulate_lines.py",
    "simulate/test_simulate_signal.py",
    "tracker/test_tracker_two_interpreters.py",
    "virtual/test_virtual.py",
)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    for item in items:
        if item.nodeid.removeprefix("tests/").startswith(SLOW):
            item.add_marker(pytest.mark.slow)
