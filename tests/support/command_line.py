"""The command with which tests start `coilcount` as a process that signals can end.

If a shell starts the tests with `nohup ... &`, they ignore SIGHUP and SIGINT, and child processes inherit that.
coilcount rightly leaves an ignored signal ignored.  So this command restores the default signals first.
"""

import sys

_START = (
    "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler); "
    "signal.signal(signal.SIGTERM, signal.SIG_DFL); signal.signal(signal.SIGHUP, signal.SIG_DFL); "
    "from coilcount.commands.cli import main; sys.exit(main())"
)
INTERRUPTIBLE = [sys.executable, "-c", _START]
