"""Which file of this folder a board needs, from what the interpreter says of itself."""

# Bytes in which a board keeps a run until its end, because it must not write flash before.
RUN_MEMORY = {
    "esp32": 60000,  # of about 110 kB free: some 11 000 samples
    "esp32_s3": 100000,  # of about 200 kB free: some 19 000 samples
}

# What the program needs, compiled, after the ring was made: 129 kB stay and 12 kB come and go, measured in a 32-bit
# interpreter with the file of the Pico W. The radio's own memory lies outside of the heap.
PROGRAM_BYTES = 141000

# Words that the DMA channel fills: twice its ring, see drivers/hx711_rp2.py.
DMA_WORDS = {"pico_w": 1024, "pico2_w": 1024}


def board_name(platform: str, machine: str) -> str:
    """Name of the file for `sys.platform` and `os.uname().machine`; ValueError when there is none."""
    if platform == "rp2":
        return "pico2_w" if "RP2350" in machine else "pico_w"
    if platform == "esp32":
        if "ESP32S3" in machine:
            return "esp32_s3"
        if machine.endswith("with ESP32"):
            return "esp32"
    raise ValueError("no file in logger/boards for " + platform + ", " + machine)
