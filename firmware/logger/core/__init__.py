"""The logger's rules: no hardware, no clock, no asyncio. Runs under MicroPython and CPython alike."""
