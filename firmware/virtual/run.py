"""Runs the firmware on a PC: the real application, with a scene in place of the coil.

Arguments: the folders to import from (joined by ':'), the scene's file descriptor, the folder that
stands for flash, the board's name, its serial number, and (where there is one) the reading end of a pipe that the
host's process holds open as long as it lives.  The link is stdin and stdout.
"""

import select
import sys
import time

# How the process ends, read by the host's virtual board.
EXIT_SCENE_ENDED = 0
EXIT_UNPLUGGED = 86
EXIT_NO_HOST = 87

IDLE_MS = 20
# With a line half sent: look soon whether there is room again.
IDLE_SENDING_MS = 2
# After the end of the scene: rounds of IDLE_SENDING_MS that the host has to read the rest.
LAST_ROUNDS = 500


def main():
    _, paths, descriptor, folder, name, uid = sys.argv[:6]
    sys.path[:0] = paths.split(":")
    from app import App
    from link import Link
    from simulated import PowerLost, Scene, SceneBoard, SceneEnded
    from store import Store
    from version import VERSION

    # CPython's streams have a buffer that select does not see; MicroPython's have none.
    reader = getattr(sys.stdin.buffer, "raw", sys.stdin.buffer)
    writer = getattr(sys.stdout.buffer, "raw", sys.stdout.buffer)
    stream = open(int(descriptor), "rb", buffering=0)
    store = Store(folder)
    store.load()
    store.start_boot()
    scene = Scene(stream)
    link = Link(reader, writer)
    app = App(scene, link, store, SceneBoard(scene, name, uid), scene, VERSION)

    sources = select.poll()
    sources.register(stream, select.POLLIN)
    sources.register(reader, select.POLLIN)
    host = select.poll()
    host.register(reader, select.POLLIN)
    lives = select.poll()
    if len(sys.argv) > 6:
        life = open(int(sys.argv[6]), "rb", buffering=0)
        lives.register(life, select.POLLIN)

    def idle():
        sources.poll(IDLE_MS if link.idle() else IDLE_SENDING_MS)
        if lives.poll(0):
            sys.exit(EXIT_NO_HOST)
        for item in host.poll(0):
            # Nobody holds the other end any more: the host's process is gone, and so must this be.
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
    """The traceback on stderr: MicroPython prints it on stdout, which is the link."""
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
