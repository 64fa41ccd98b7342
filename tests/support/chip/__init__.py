"""A whole RP2040, emulated, with a converter at its pins; chip.mjs says what is real in it."""
