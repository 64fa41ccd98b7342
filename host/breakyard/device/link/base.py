"""What every link offers: four methods and the size of its largest packet."""

from typing import Protocol


class Link(Protocol):
    """A two-way stream of bytes that may be cut into packets anywhere.

    A link that broke raises LinkLost from `send` and `receive` until it is connected again; one that can never be
    connected again raises LinkGone. One that cannot know what is at its other end has `knock`: bytes that the client
    sends, and nothing else, until a logger has answered.
    """

    @property
    def max_packet(self) -> int:
        """Most bytes that one `send` may carry now; the client cuts what is longer."""

    @property
    def read_records(self) -> int:
        """How many records to ask for at a time, two such requests being under way."""

    async def connect(self) -> None:
        """Open the way to the logger. Raises: LinkError."""

    async def disconnect(self) -> None:
        """Close it; closing twice is no error."""

    async def send(self, data: bytes) -> None:
        """Hand over bytes, in order. Raises: LinkLost."""

    async def receive(self) -> bytes:
        """Wait for some bytes (at least one). Raises: LinkLost."""
