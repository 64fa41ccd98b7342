"""The logger, from here: bytes (link), the protocol (client), firmware onto a board (install), its self-test."""
