"""Which READs to send next, without input and output: always two under way, so that the link never waits for us."""

from dataclasses import dataclass, field
from typing import Final

from breakyard.errors import LinkLost
from breakyard.wire.records import Record, RunEnd

HOLE_AFTER: Final = 16
"""A record that did not come this many times in a row, although it was sent past, is not in the store any more."""

MAX_HOLES: Final = 64
"""After this many holes in a row, without a record between them, the logger is not believed any more."""


@dataclass
class ReadWindow:
    """The records of one run, wanted one after another from `wanted` on.

    Attributes:
        count: records to ask for in one READ.
        end: the run's end record, once it came.
        done: nothing more will come.
        progress: grows with each record taken and each answer.
        holes: closed ranges of records that the store has lost, as where its flash is damaged.
    """

    run: int
    wanted: int
    count: int
    follow: bool
    end: RunEnd | None = None
    done: bool = False
    progress: int = 0
    holes: list[tuple[int, int]] = field(default_factory=list)
    _under_way: list[tuple[int, int]] = field(
        default_factory=list
    )  # index of the command, end of its records
    _skipping: bool = False
    _passed: int = 0  # how often in a row the one wanted was sent past
    _beyond: int | None = None  # the first that came of those behind it
    _barren: int = 0  # holes since a record came

    def next_first(self) -> int | None:
        """The `first` of a READ to be sent now, or None."""
        if self.done or len(self._under_way) == 2:
            return None
        return self._under_way[-1][1] if self._under_way else self.wanted

    def sent(self, index: int, first: int) -> None:
        """Note a READ as under way."""
        self._under_way.append((index, first + self.count))

    @property
    def waiting_for(self) -> tuple[int, ...]:
        """The commands whose answers are still to come, in order."""
        return tuple(index for index, _ in self._under_way)

    def take(self, record: Record) -> bool:
        """Look at a record that came; True if it is the one wanted next. A hole makes us ask anew."""
        if record.run != self.run or record.index < self.wanted:
            return False
        if record.index > self.wanted:
            self._beyond = min(record.index, self._beyond or record.index)
            if not self._skipping:
                self.start_over()
            return False
        self._skipping = False
        self._passed, self._barren, self._beyond = 0, 0, None
        self.wanted += 1
        self.progress += 1
        if isinstance(record, RunEnd):
            self.end = record
            self.done = True
        return True

    def answered(self, index: int, next_record: int, finished: bool) -> None:
        """Look at the answer to a READ. Raises: LinkLost for answers that no sound logger gives."""
        self.progress += 1
        (place,) = (i for i, (one, _) in enumerate(self._under_way) if one == index)
        _, asked_to = self._under_way[place]
        if next_record > asked_to:
            raise LinkLost(
                f"the logger says that it sent records to {next_record} when asked for those to {asked_to}"
            )
        del self._under_way[: place + 1]
        if self.wanted < next_record:  # the rest of what it sent was lost
            self._passed += 1
            if self._passed == HOLE_AFTER:
                self._leave_out(next_record)
            self.start_over()
        elif finished or (not self.follow and next_record < asked_to):
            self.done = True

    def _leave_out(self, next_record: int) -> None:
        after = next_record if self._beyond is None else min(self._beyond, next_record)
        self._barren += 1
        if self._barren > MAX_HOLES:
            raise LinkLost("the logger goes on without sending any records; is it faulty?")
        self.holes.append((self.wanted, after - 1))
        self.wanted, self._passed, self._beyond = after, 0, None

    def start_over(self) -> None:
        """Ask again from the record wanted; what is still on its way is skipped."""
        self._under_way.clear()
        self._skipping = True
