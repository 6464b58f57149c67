"""Runs the steps that stop hardware, so that Ctrl-C cannot cut them short.

DMA that goes on after the firmware has ended would write into memory that belongs to somebody else by then.
"""

import micropython

CTRL_C = 3  # the byte that interrupts a program
NO_BYTE = -1


def certainly(steps, kbd_intr=micropython.kbd_intr):
    """Call each of `steps` (functions).  Each must be harmless if it is called again after it was interrupted.

    Ctrl-C does nothing meanwhile, and works again afterwards.  If a step fails, the others are called all the same.
    Raises the last error of a step.
    """
    error = None
    for step in steps:
        done = False
        while not done:
            try:
                kbd_intr(NO_BYTE)
                step()
                done = True
            except KeyboardInterrupt:
                # The key was pressed just before it was switched off.  The step is called again.
                pass
            except Exception as failure:
                error = failure
                done = True
    kbd_intr(CTRL_C)
    if error:
        raise error
