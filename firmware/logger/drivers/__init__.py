"""Each file knows one part of the hardware and decides nothing."""
