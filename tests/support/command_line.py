"""How the tests start `coilcount` as a process that signals can end, whatever the tests themselves were started with.

A shell starts `nohup ... &` with SIGHUP and SIGINT ignored, children inherit that, and the product rightly leaves an
ignored signal ignored: so they are set back before it starts.
"""

import sys

_START = (
    "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler); "
    "signal.signal(signal.SIGTERM, signal.SIG_DFL); signal.signal(signal.SIGHUP, signal.SIG_DFL); "
    "from coilcount.commands.cli import main; sys.exit(main())"
)
INTERRUPTIBLE = [sys.executable, "-c", _START]
