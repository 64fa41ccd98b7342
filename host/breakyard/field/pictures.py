"""A photo from a page, in pieces as small as any other request, until it is whole."""

import base64
import binascii
from dataclasses import dataclass, field
from typing import Final

from breakyard.errors import UsageError

MAX_PIECE: Final = 3600
"""Signs of a piece, in base 64: a request with it stays below the bound of all requests."""
MAX_PIECES: Final = 400
"""About a megabyte; a page makes its photo smaller than that."""
MAX_AT_ONCE: Final = 4


@dataclass
class Uploads:
    """Pieces that have come so far, by the pull they belong to."""

    _begun: dict[str, list[bytes]] = field(default_factory=dict)

    def take(self, pull: str, part: str, parts: str, data: str) -> bytes | None:
        """Take a piece; returns the photo once the last one has come.

        Raises: UsageError for a piece that is none, out of its order, or too many.
        """
        try:
            number, many = int(part), int(parts)
            piece = base64.b64decode(data, validate=True)
        except (ValueError, binascii.Error):
            raise UsageError("a piece of a photo has a number and is written in base 64") from None
        if not (0 <= number < many <= MAX_PIECES):
            raise UsageError("the photo is too large; take a smaller one")
        if number == 0:
            if pull not in self._begun and len(self._begun) >= MAX_AT_ONCE:
                self._begun.pop(next(iter(self._begun)))
            self._begun[pull] = []
        if len(self._begun.get(pull, ())) != number:
            self._begun.pop(pull, None)
            raise UsageError("a piece of the photo is missing; choose it again")
        self._begun[pull].append(piece)
        return b"".join(self._begun.pop(pull)) if number == many - 1 else None
