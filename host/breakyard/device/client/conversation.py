"""The host's side of the conversation, without input and output.

Owns: the numbering of commands, which answer belongs to which, and what arrived in between. Bytes go in through
`receive`, records come out sorted; the client decides when to send and how long to wait.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from breakyard.wire.commands import pack_arguments
from breakyard.wire.damage import Damaged, DamagedRecord
from breakyard.wire.fields import Value
from breakyard.wire.frame import NEED_DATA, FrameReader, frame
from breakyard.wire.layout import Command
from breakyard.wire.records import (
    Answer,
    CommandRecord,
    LogLine,
    Receipt,
    Record,
    Status,
    build,
    parse,
)

MAX_KEPT_LINES: Final = 1000
"""Log lines and unexpected records kept for the caller; a babbling logger must not fill the memory."""

MAX_KEPT_RECORDS: Final = 4096
"""Records of runs kept until taken, 1 MB: far more than any READ asks for."""


MAX_RECEIPTS: Final = 16
"""Receipts kept until they are sent back; a logger has fewer under way."""


@dataclass
class Conversation:
    """Sorts what a logger says. One conversation lives as long as one connection.

    Attributes:
        answers: answers by the index of their command, until taken.
        stored: records of runs, in order of arrival, until taken; with the bytes they came as.
        status: the latest status record.
        damaged: how many stretches of bytes did not decode.
        heard: something did decode.
        receipts: framed, to be sent back; the caller does so and takes them away.
    """

    first_index: int = 1
    status: Status | None = None
    damaged: int = 0
    heard: bool = False
    receipts: deque[bytes] = field(default_factory=lambda: deque(maxlen=MAX_RECEIPTS))
    answers: dict[int, Answer] = field(default_factory=dict)
    stored: deque[tuple[Record, bytes]] = field(default_factory=lambda: deque(maxlen=MAX_KEPT_RECORDS))
    loose: deque[Record] = field(default_factory=lambda: deque(maxlen=MAX_KEPT_LINES))
    log: deque[LogLine] = field(default_factory=lambda: deque(maxlen=MAX_KEPT_LINES))
    _reader: FrameReader = field(default_factory=FrameReader)
    _waiting: set[int] = field(default_factory=set)
    _next_index: int = field(init=False)

    def __post_init__(self) -> None:
        self._next_index = self.first_index

    def command(
        self,
        command: Command,
        seal: Callable[[Command, bytes], bytes | None] | None = None,
        /,
        **arguments: Value,
    ) -> tuple[int, bytes]:
        """Number a command and return its index with the framed bytes to send.

        Args:
            command: what to ask for.
            seal: makes the arguments of SEALED out of a command and its arguments; None from it: not sealed.
            arguments: by name.

        Raises: UsageError if the arguments are not those of the command.
        """
        index = self._next_index
        self._next_index = index % 0xFFFFFFFF + 1
        payload = pack_arguments(command, **arguments)
        self._waiting.add(index)
        if seal is not None and (sealed := seal(command, payload)) is not None:
            command, payload = Command.SEALED, sealed
        return index, frame(build(CommandRecord(run=0, index=index, command=command, arguments=payload)))

    def give_up(self, index: int) -> None:
        """Stop waiting for the answer to a command; should it still come, it is ignored."""
        self._waiting.discard(index)
        self.answers.pop(index, None)

    def take_answer(self, index: int) -> Answer | None:
        """Return the answer to a command, once, if it is there."""
        answer = self.answers.pop(index, None)
        if answer is not None:
            self._waiting.discard(index)
        return answer

    def receive(self, data: bytes) -> None:
        """Take bytes from the link, cut anywhere."""
        self._reader.receive_data(data)
        while (raw := self._reader.next_bytes()) is not NEED_DATA:
            if isinstance(raw, Damaged):
                self.damaged += 1
                continue
            try:
                self._sort(parse(raw), raw)
                self.heard = True
            except DamagedRecord:
                self.damaged += 1

    def _sort(self, record: Record, raw: bytes) -> None:
        if isinstance(record, Answer):
            if record.index in self._waiting:
                self.answers[record.index] = record
        elif isinstance(record, Status):
            self.status = record
        elif isinstance(record, Receipt):
            self.receipts.append(frame(raw))
        elif isinstance(record, LogLine):
            self.log.append(record)
        elif record.run:
            self.stored.append((record, raw))
        else:
            self.loose.append(record)
