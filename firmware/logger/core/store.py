"""The run store: records appended run by run, read back by run and index, erased run by run.

What any store must offer (a later one keeps the bytes in flash):

    notes                                 lines for people about what was found at the start
    problem                               text of what went wrong last, "" when nothing did
    last_run, runs                        highest run number ever given, number of runs held
    room()                                bytes left for records that are not promised to others
    prepare()                             a run may begin soon; may take long
    rest()                                none is awaited or recorded any more; called again and again
    begin(run)                            a new run, the only one being written; allocates little
    hold(size)                            promise bytes to the end of the run: peak windows and totals
    append(buffer, length, held) -> bool  one record; held = True may use what was promised
    commit()                              what was appended survives the power
    step() -> bool                        after the last record, before `end`: True while there is work left
    end(sha256)                           the run is complete
    repair() -> bool                      while nothing is recorded: a little of what a lost power left to do;
                                          True while there is work left
    find(first) -> run                    first run held with at least this number, or 0
    records(run), size(run), complete(run), sha256(run)
    read(run, index, buffer) -> length    0 when there is no such record
    erase(run)                            one complete run
    calibration                           payload of the CALIBRATION kept, b"" when there is none
    keep_calibration(payload) -> bool     replaces it whole or, False, leaves it as it was

Sizes count framed bytes, so that they mean the same on every store and link. Links are none of the store's
business: losing one changes nothing here.
"""

from .layout import MAX_RUN

_FRAMING = 3  # a record grows by one stuffing byte and two delimiters


def framed(length: int) -> int:
    """Bytes that a record of this length takes in a file or on a link."""
    return length + _FRAMING


class _Run:
    """Where a run lies in memory."""

    def __init__(self, number: int, offset: int) -> None:
        self.number = number
        self.offset = offset
        self.used = 0  # bytes in memory
        self.records = 0
        self.size = 0  # framed bytes
        self.sha256: bytes | None = None


class MemoryStore:
    """A store in a fixed piece of memory; lost with the power."""

    def __init__(self, capacity: int) -> None:
        self.last_run = 0
        self.runs = 0
        self.calibration = b""
        self.notes: list[str] = []
        self.problem = ""
        self._capacity = capacity
        self._data = bytearray(capacity)
        self._view = memoryview(self._data)
        self._used = 0  # bytes of _data: each record with its length before it
        self._size = 0  # framed bytes of all records
        self._held = 0
        self._table: list[_Run] = []
        self._writing = False
        self._read_run = 0  # where the latest read stopped, because reads go forward
        self._read_index = 0
        self._read_at = 0

    def room(self) -> int:
        """Framed bytes left for records that are not promised."""
        return self._capacity - self._size - self._held

    def prepare(self) -> None:
        """Nothing to prepare."""

    def rest(self) -> None:
        """Nothing was written down."""

    def commit(self) -> None:
        """Memory is as safe as it gets."""

    def step(self) -> bool:
        """Nothing is left to do."""
        return False

    def repair(self) -> bool:
        """Nothing outlives the power here."""
        return False

    def begin(self, run: int) -> None:
        """Open a run; numbers only rise."""
        if self._writing or not self.last_run < run <= MAX_RUN:
            raise ValueError("run cannot begin")
        self._table.append(_Run(run, self._used))
        self.last_run = run
        self.runs += 1
        self._writing = True

    def hold(self, size: int) -> None:
        """Promise `size` framed bytes to records appended later with `held`."""
        self._held = size

    def append(self, buffer: bytearray, length: int, held: bool = False) -> bool:
        """Add a record to the open run; False (and nothing written) when there is no room."""
        size = framed(length)
        if held:
            if size > self._capacity - self._size:
                return False
            self._held = self._held - size if self._held > size else 0
        elif size > self.room():
            return False
        entry = self._table[-1]
        at = self._used
        self._data[at] = length
        self._view[at + 1 : at + 1 + length] = memoryview(buffer)[:length]
        self._used = at + 1 + length
        self._size += size
        entry.used += 1 + length
        entry.records += 1
        entry.size += size
        return True

    def end(self, sha256: bytes) -> None:
        """The open run is complete."""
        self._table[-1].sha256 = sha256
        self._writing = False
        self._held = 0

    def keep_calibration(self, payload: bytes) -> bool:
        """Keep the payload of a CALIBRATION in place of the one before."""
        self.calibration = payload
        return True

    def find(self, first: int) -> int:
        """First run held whose number is at least `first`, or 0."""
        for entry in self._table:
            if entry.number >= first:
                return entry.number
        return 0

    def records(self, run: int) -> int:
        """Records of a run so far; 0 when there is no such run."""
        entry = self._entry(run)
        return entry.records if entry else 0

    def size(self, run: int) -> int:
        """Framed bytes of a run."""
        entry = self._entry(run)
        return entry.size if entry else 0

    def complete(self, run: int) -> bool:
        """True when the run has its RUN_END."""
        entry = self._entry(run)
        return entry is not None and entry.sha256 is not None

    def sha256(self, run: int) -> bytes | None:
        """The hash in the run's RUN_END, or None."""
        entry = self._entry(run)
        return entry.sha256 if entry else None

    def read(self, run: int, index: int, buffer: bytearray) -> int:
        """Copy record `index` of a run into `buffer`; return its length, 0 when there is none."""
        entry = self._entry(run)
        if entry is None or index >= entry.records:
            return 0
        if run != self._read_run or index < self._read_index:
            self._read_run = run
            self._read_index = 0
            self._read_at = entry.offset
        at = self._read_at
        while self._read_index < index:
            at += 1 + self._data[at]
            self._read_index += 1
        self._read_at = at
        length = self._data[at]
        buffer[:length] = self._view[at + 1 : at + 1 + length]
        return length

    def erase(self, run: int) -> bool:
        """Erase a complete run and close the hole; False when it is absent or not complete."""
        entry = self._entry(run)
        if entry is None or entry.sha256 is None:
            return False
        start = entry.offset
        hole = entry.used
        at = start
        while at + hole < self._used:
            piece = self._used - at - hole
            if piece > hole:
                piece = hole  # so that source and target never overlap
            if piece > 4096:
                piece = 4096
            self._view[at : at + piece] = self._view[at + hole : at + hole + piece]
            at += piece
        self._used -= hole
        self._size -= entry.size
        self._table.remove(entry)
        for other in self._table:
            if other.offset > start:
                other.offset -= hole
        self.runs -= 1
        self._read_run = 0
        return True

    def _entry(self, run: int) -> _Run | None:
        for entry in self._table:
            if entry.number == run:
                return entry
        return None
