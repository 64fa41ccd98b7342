"""Freezes the logger into an image, beside what the port puts there: a quick start, and nearly all of the heap is free.

make BOARD=RPI_PICO_W FROZEN_MANIFEST=/path/to/firmware/manifest.py
"""

# ruff: noqa: F821 - the build gives these names
include("$(PORT_DIR)/boards/manifest.py")  # _boot, rp2, asyncio: without them an image does not start
package("logger")
module("main.py")
