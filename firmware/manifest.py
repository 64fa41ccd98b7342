"""Freezes the logger into an image: `make BOARD=RPI_PICO_W FROZEN_MANIFEST=.../firmware/manifest.py`. Not tried yet."""

package("logger", files=None)  # noqa: F821 - given by the build
module("main.py")  # noqa: F821
