"""`python -m coilcount`: the same as the command `coilcount`."""

import sys

from coilcount.commands.cli import main

sys.exit(main())
