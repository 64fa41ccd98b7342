"""What a store on flash holds, in order of run number: size, records, and whether the run has its end."""

from array import array


class RunTable:
    """At most `most` runs; `runs` of them are there. Places are counted from 0."""

    def __init__(self, most: int) -> None:
        self.runs = 0
        self.most = most
        self.numbers = array("H", bytearray(2 * most))
        self.sizes = array("I", bytearray(4 * most))  # framed bytes
        self.records = array("I", bytearray(4 * most))
        self.complete = bytearray(most)

    def add(self, run: int, size: int, records: int, complete: int) -> None:
        """A run with a higher number than all others."""
        at = self.runs
        self.numbers[at] = run
        self.sizes[at] = size
        self.records[at] = records
        self.complete[at] = complete
        self.runs = at + 1

    def place(self, run: int) -> int:
        """Where a run stands, or -1."""
        for i in range(self.runs):
            if self.numbers[i] == run:
                return i
        return -1

    def find(self, first: int) -> int:
        """First run whose number is at least `first`, or 0."""
        for i in range(self.runs):
            if self.numbers[i] >= first:
                return self.numbers[i]
        return 0

    def remove(self, place: int) -> None:
        """Forget a run; those behind it move up."""
        self.runs -= 1
        for at in range(place, self.runs):
            self.numbers[at] = self.numbers[at + 1]
            self.sizes[at] = self.sizes[at + 1]
            self.records[at] = self.records[at + 1]
            self.complete[at] = self.complete[at + 1]
