"""A logger on a computer: the real firmware, fed by a file, talking through a pipe. See README.md.

MICROPYPATH=firmware/virtual:firmware:.frozen micropython -X heapsize=16M firmware/virtual/main.py [--name value]
python firmware/virtual/main.py [--name value]
"""

import sys

ON_MICROPYTHON = sys.implementation.name == "micropython"
if not ON_MICROPYTHON:
    here = __file__.replace("\\", "/").rsplit("/", 1)[0] if "/" in __file__.replace("\\", "/") else "."
    sys.path[0:1] = [here, here + "/.."]

import bench  # noqa: E402
import event_loop  # noqa: E402
import feed  # noqa: E402
import flash  # noqa: E402
import machine  # noqa: E402
from clock import clock  # noqa: E402

TICKS_MASK = 0x3FFFFFFF


class Options:
    """What the command line may change, with the values it has otherwise."""

    serial = "0102030405060708"
    boot = 0x0B0A70
    start_us = TICKS_MASK + 1 - 5000000  # the counter wraps 5 s after the start
    capacity = 1 << 20
    interval_us = 10870  # 92/s, as seen on boards set to 80/s
    idle_counts = 0
    interpreter = ""
    radio = 0  # 1: with Bluetooth
    silence_ms = 0  # after so long a silent host is put out; 0: as on a board
    runs = ""  # a folder that stands for the flash; otherwise runs are kept in memory
    ram_bytes = 0  # with `runs`: flash is not written while recording, a run is kept in so much memory
    settings = ""  # a settings file
    memory = 0  # 1: free memory is measured, after a collection; otherwise it is not known
    lamp = 0  # 1: with a lamp, which tells the host
    rate_pin = 0  # 1: RATE is wired to the board
    battery_mv = 0  # where a battery is measured
    driver = "gpio"  # or "pio", "spi": how the converter is read


def read_options(arguments):
    """Take `--name value` pairs; a number stays a number."""
    options = Options()
    options.interpreter = interpreter()
    for i in range(0, len(arguments), 2):
        name = arguments[i][2:].replace("-", "_")
        if not arguments[i].startswith("--") or not hasattr(Options, name) or i + 1 == len(arguments):
            raise ValueError("unknown or incomplete option " + arguments[i])
        value = arguments[i + 1]
        setattr(options, name, int(value) if isinstance(getattr(Options, name), int) else value)
    return options


def interpreter():
    """The interpreter's name and version, short enough for a text field."""
    name = sys.implementation.name
    version = sys.implementation.version
    return name + " " + ".".join([str(part) for part in version[:3]])


def real_ms():
    """The real clock, for the mode that follows it."""
    import time

    return time.ticks_ms() if ON_MICROPYTHON else time.monotonic_ns() // 1000000


def main(arguments):
    """Run until the host closes the pipe or cuts the power."""
    options = read_options(arguments)
    clock.start_us = options.start_us
    source = feed.Feed(clock, options.interval_us, options.idle_counts)
    cable = bench.LinkCable()
    air = None
    if options.radio:
        import bluetooth
        import radio

        air = bluetooth.air = radio.Radio(clock)
    stand = bench.Bench(clock, machine.chip, source, cable, real_ms, air)
    event_loop.install(clock, stand.wait)
    machine.chip.power_up(source)

    import asyncio

    from logger.app import App
    from logger.boards.virtual import Board

    options.flash = flash.FaultyFiles
    options.rate_object = machine.RatePin() if options.rate_pin else None
    options.battery_object = bench.Battery(options.battery_mv) if options.battery_mv else None
    options.lamp_object = bench.Lamp(clock) if options.lamp else None
    board = Board(options, cable)
    stand.files = board.files
    stand.battery = board.battery
    bench.tell({"event": "ready", "interpreter": interpreter()})
    try:
        asyncio.run(App(board).run())
    except Exception as error:
        if board.files:
            from logger import crash

            crash.keep(board.files, error)
        raise


def print_error(error):
    """Show where it happened, on standard error: standard output belongs to the host."""
    if ON_MICROPYTHON:
        sys.print_exception(error, sys.stderr)
    else:
        import traceback

        traceback.print_exception(error)


try:
    main(sys.argv[1:])
except Exception as error:
    bench.tell({"event": "error", "what": "%s: %s" % (type(error).__name__, error)})
    print_error(error)
    sys.exit(1)
