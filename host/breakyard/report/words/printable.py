"""Texts of strangers on a terminal."""


def printable(text: str) -> str:
    """Replace control characters, which a foreign file or logger could use to rewrite the terminal."""
    return "".join(
        sign if sign.isprintable() or sign in "\n\t" else "\N{REPLACEMENT CHARACTER}" for sign in text
    )
