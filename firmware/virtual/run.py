"""Runs the firmware on a PC.  The application is the real one; a scene takes the place of the coil.

Arguments, in order:
1. the folders to import from, joined by ":"
2. the file descriptor of the scene
3. the folder that takes the place of the flash
4. the board's name
5. its serial number
6. optional: the file descriptor of the reading end of a pipe that the host's process holds open while it lives

The link is stdin and stdout.
"""

import select
import sys
import time

# Waits in ms, chosen by hand.
IDLE_MS = 20  # if there is nothing to do; input ends the wait
IDLE_SENDING_MS = 2  # if a line was sent in part, to look soon if there is room again
# Rounds of IDLE_SENDING_MS (1 s together) in which the host can read the rest after the end of the scene.
LAST_ROUNDS = 500


def main():
    _, paths, descriptor, folder, name, uid = sys.argv[:6]
    sys.path[:0] = paths.split(":")
    from app import App
    from coilwire.virtual_board import EXIT_NO_HOST, EXIT_SCENE_ENDED, EXIT_UNPLUGGED
    from link import Link
    from port import Port
    from simulated import PowerLost, Scene, SceneBoard, SceneEnded
    from store import Store
    from version import VERSION

    # CPython's streams have a buffer that select does not see, so its raw streams are used.  MicroPython's have none.
    reader = getattr(sys.stdin.buffer, "raw", sys.stdin.buffer)
    writer = getattr(sys.stdout.buffer, "raw", sys.stdout.buffer)
    stream = open(int(descriptor), "rb", buffering=0)
    store = Store(folder)
    store.load()
    store.start_boot()
    scene = Scene(stream)
    link = Link(Port(reader, writer))
    app = App(scene, link, store, SceneBoard(scene, name, uid), scene, VERSION)

    sources = select.poll()
    sources.register(stream, select.POLLIN)
    sources.register(reader, select.POLLIN)
    host_input = select.poll()
    host_input.register(reader, select.POLLIN)
    host_lives = select.poll()
    if len(sys.argv) > 6:
        host_pipe = open(int(sys.argv[6]), "rb", buffering=0)
        host_lives.register(host_pipe, select.POLLIN)

    def idle():
        sources.poll(IDLE_MS if link.idle() else IDLE_SENDING_MS)
        if host_lives.poll(0):
            sys.exit(EXIT_NO_HOST)
        for item in host_input.poll(0):
            # Nobody holds the other end any more.  The host's process has ended, so this one must end too.
            if item[1] & select.POLLHUP and not item[1] & select.POLLIN:
                sys.exit(EXIT_NO_HOST)

    app.start()
    try:
        app.run(idle)
    except PowerLost:
        sys.exit(EXIT_UNPLUGGED)
    except SceneEnded:
        for _ in range(LAST_ROUNDS):
            if app.flush():
                break
            time.sleep(IDLE_SENDING_MS / 1000)
        sys.exit(EXIT_SCENE_ENDED)


def report(error):
    """Print the traceback on stderr.  MicroPython would print it on stdout, which is the link."""
    if hasattr(sys, "print_exception"):
        sys.print_exception(error, sys.stderr)
    else:
        import traceback

        traceback.print_exception(error)


try:
    main()
except SystemExit:
    raise
except BaseException as error:
    report(error)
    sys.exit(1)
