"""Stand-in of the module `micropython` for CPython; the interpreter has its own and never sees this file."""


def const(value):
    """On a board the compiler replaces the name by the number."""
    return value
