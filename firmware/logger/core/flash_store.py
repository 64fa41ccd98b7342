"""The run store on flash: one file per run, records as they are on a link, in the board's own file system.

Law:
  * What was appended is safe after `commit`. The run writer commits before the oldest sample that is not
    safe is a second old. A power cut loses what came after the latest commit, and never an earlier run.
  * Every run that is found without RUN_END gets one, with POWER_LOST and the totals and hash of what was
    found. Reading a long run for it takes a minute, so the start only looks at its end; `repair` does the
    rest in small steps while nothing is recorded, and writes nothing until it has all.
  * What is damaged stays in the file and is never handed out.
  * Numbers of runs never go back: before a run may begin its number is written down, with the word that it is
    awaited, which `rest` takes back. A start that finds it, and no such run, says so; on a board that keeps runs
    in memory it writes a RUN_END with MEMORY_LOST, for the run may have begun.
  * Nothing is overwritten. A few blocks are never counted as room, so that the file system can always finish
    what it began; room for the end of a run is put aside at its beginning.
  * On a board that must not write flash while it records, a run is kept in memory until its end, and lost
    with the power.

Wear: littlefs copies the last, half filled block of a file to a fresh block at the first write after a
`commit`, and goes round all free blocks. At 92 samples a second (two commits) that was 2.3 blocks erased and
21 pages programmed a second, under the same littlefs (tests/power_cut/wear.py): with typically 45 ms and
0.5 ms for these the processor stands still an eighth of the time. The 212 free blocks of an empty Pico W,
good for 100 000 erasures each, last 2500 hours of recording; a fifth of them, when the rest is full, 500.
"""

from binascii import crc32

from micropython import const

from . import cobs, layout, pieces
from .layout import MAX_FRAME, MAX_RUN
from .power_lost import LostRun
from .run_scan import RunScan
from .run_table import RunTable
from .store import framed

MAX_RUNS = const(200)  # littlefs finds a file by walking its directory
RESERVED_BLOCKS = const(6)  # one for the copy of the last block, the others for the directory
TAIL_BYTES = const(4096)  # between two commits there is a tenth of it as a rule
_STEP_BYTES = const(4096)
_POINTERS = const(8)  # bytes per block that littlefs uses itself, on average over a file
_NEAR = const(16)  # records that are passed over one by one; farther ones are sought
_HASH_AT = const(44)
_COUNTER = "counter"
_AWAITED = b"awaited"
_CALIBRATION = "calibration"
_SUFFIX = ".run"


def file_name(run: int) -> str:
    """Name of a run's file."""
    return f"{run:05d}" + _SUFFIX


def _number(name: str) -> int:
    """The run whose file has this very name, or 0."""
    try:
        run = int(name[: -len(_SUFFIX)])
    except ValueError:
        return 0
    return run if 0 < run <= MAX_RUN and file_name(run) == name else 0


class FlashStore:
    """`files` is a FlashFiles; see MemoryStore for what a store must offer.

    `notes` are lines for people from the start: runs that lost their power, files not understood. `problem`
    is the text of what went wrong last, or "".
    """

    def __init__(  # type: ignore[no-untyped-def]
        self, files, while_recording: bool = True, ram_bytes: int = TAIL_BYTES, reset_cause: int = 0
    ) -> None:
        self.last_run = 0
        self.calibration = b""
        self.notes: list[str] = []
        self.problem = ""
        self._files = files
        self._while_recording = while_recording
        self._reset_cause = reset_cause
        self._table = RunTable(MAX_RUNS)
        self._scan = RunScan(self._load)
        self._lost: list[int] = []  # runs found without an end
        self._lost_run: LostRun | None = None
        self._next_index = 0
        self._next_at = 0
        self._tail = pieces.take_run(ram_bytes, TAIL_BYTES)
        self._tail_view = memoryview(self._tail)
        self._tail_used = 0
        self._tail_saved = 0  # of these, written to the file and not yet safe
        self._writing = 0  # run being written
        self._held = 0
        self._reserved_number = 0
        self._awaited = False  # as it is written down beside the number
        self._free_bytes = 0
        self._failed = False
        self._unread = False  # a read failed
        if len(self._tail) < ram_bytes:
            self.notes.append(f"little memory: a run may have {len(self._tail)} bytes")
        self._start()

    # What is there

    @property
    def runs(self) -> int:
        """Number of runs held."""
        return self._table.runs

    def room(self) -> int:
        """Framed bytes left for records that are not promised."""
        if self._failed or (not self._writing and self.runs == MAX_RUNS):
            return 0
        room = self._free_bytes
        if self._writing:
            room -= self._table.sizes[self.runs - 1]
        if not self._while_recording:
            in_memory = len(self._tail) - self._tail_used
            if in_memory < room:
                room = in_memory
        return room - self._held

    def find(self, first: int) -> int:
        """First run held whose number is at least `first`, or 0."""
        return self._table.find(first)

    def records(self, run: int) -> int:
        """Records of a run so far; 0 when there is no such run."""
        at = self._table.place(run)
        return self._table.records[at] if at >= 0 else 0

    def size(self, run: int) -> int:
        """Framed bytes of a run."""
        at = self._table.place(run)
        return self._table.sizes[at] if at >= 0 else 0

    def complete(self, run: int) -> bool:
        """True when the run has its RUN_END."""
        at = self._table.place(run)
        return at >= 0 and self._table.complete[at] == 1

    def sha256(self, run: int) -> bytes | None:
        """The hash in the run's RUN_END, or None."""
        at = self._table.place(run)
        if at < 0 or not self._table.complete[at]:
            return None
        self._scan.open(run)
        self._next_index = 0
        self._next_at = 0
        if not self._scan.last(self._table.sizes[at]) or self._scan.record[0] != layout.KIND_RUN_END:
            return None
        return bytes(self._scan.record[_HASH_AT : _HASH_AT + 32])

    def read(self, run: int, index: int, buffer: bytearray) -> int:
        """Copy record `index` of a run into `buffer`; return its length, 0 when there is none."""
        place = self._table.place(run)
        if place < 0 or index >= self._table.records[place]:
            return 0
        scan = self._scan
        size = self._table.sizes[place]
        if run != scan.run or not self._next_index <= index < self._next_index + _NEAR:
            scan.open(run)
            self._next_at = scan.seek(index, size)
        found = False
        while not found and scan.next(self._next_at, size) and scan.index <= index:
            found = scan.index == index
            self._next_at = scan.end
        self._next_index = index + 1
        if not found:
            return 0
        buffer[: scan.length] = memoryview(scan.record)[: scan.length]
        return scan.length

    # Writing

    def prepare(self) -> None:
        """Before a run may begin: write down its number, and look how much room there is."""
        try:
            self._reserved_number = self.last_run + 1
            self._write_counter(True)
            self._failed = False
            self._look_for_room()
        except OSError as error:
            self._fail(error)

    def rest(self) -> None:
        """No run is awaited or recorded any more."""
        if self._awaited:
            try:
                self._write_counter(False)
            except OSError as error:
                self._awaited = False  # once is enough: the next start says something that is not so
                self._fail(error)

    def begin(self, run: int) -> None:
        """Open a run; numbers only rise. Its file is made with the first commit."""
        if self._writing or not self.last_run < run <= MAX_RUN or self.runs == MAX_RUNS:
            raise ValueError("run cannot begin")
        self._table.add(run, 0, 0, 0)
        self.last_run = run
        self._writing = run
        self._tail_used = 0
        self._tail_saved = 0
        self._held = 0

    def hold(self, size: int) -> None:
        """Promise `size` framed bytes to records appended later with `held`."""
        self._held = size

    def append(self, buffer: bytearray, length: int, held: bool = False) -> bool:
        """Add a record to the open run; False (and nothing written) when there is no room."""
        size = framed(length)
        if held:
            if size > self.room() + self._held:
                return False
        elif size > self.room():
            return False
        tail = self._tail
        at = self._tail_used
        if at + size > len(tail):
            self.commit()
            at = self._tail_used
            if at + size > len(tail):
                return False
        if held:
            self._held = self._held - size if self._held > size else 0
        tail[at] = 0
        end = cobs.stuff(buffer, length, self._tail_view, at + 1)
        tail[end] = 0
        self._tail_used = end + 1
        last = self.runs - 1
        self._table.sizes[last] += size
        self._table.records[last] += 1
        return True

    def commit(self) -> None:
        """Make safe what was appended, where flash may be written while recording."""
        if self._tail_used and self._while_recording and not self._failed:
            self._save(self._tail_used)
            self._synchronise()

    def step(self) -> bool:
        """After the last record: write a piece of what is kept in memory; False when little is left."""
        if self._failed or self._tail_used - self._tail_saved <= _STEP_BYTES:
            return False
        self._save(self._tail_saved + _STEP_BYTES)
        return True

    def end(self, sha256: bytes) -> None:
        """The open run is complete, or as much of it as could be written."""
        if not self._failed:
            self._save(self._tail_used)
            self._synchronise()
        try:
            self._files.close()
            self._look_for_room()
        except OSError as error:
            self._fail(error)
        if not self._failed:
            self._table.complete[self.runs - 1] = 1
        self._tail_used = 0
        self._writing = 0
        self._held = 0

    def erase(self, run: int) -> bool:
        """Erase a complete run; False when it is absent or not complete."""
        place = self._table.place(run)
        if place < 0 or not self._table.complete[place]:
            return False
        try:
            self._files.remove(file_name(run))
            if not self._writing:
                self._look_for_room()
        except OSError as error:
            self._fail(error)
            return False
        self._table.remove(place)
        self._scan.open(0)
        return True

    def keep_calibration(self, payload: bytes) -> bool:
        """Keep the payload of a CALIBRATION in place of the one before."""
        try:
            self._files.replace(_CALIBRATION, payload + crc32(payload).to_bytes(4, "little"))
        except OSError as error:
            self._fail(error)
            return False
        self.calibration = payload
        return True

    # The start, and what a lost power leaves to do

    def repair(self) -> bool:
        """While nothing is recorded: go on with the end of a run that lost its power, by one record.

        False when there is nothing left to do.
        """
        if not self._lost or self._writing:
            return False
        run = self._lost[0]
        if not self._lost_run:
            # With a scan of its own, so that reading another run meanwhile is as quick as ever.
            self._lost_run = LostRun(run, RunScan(self._load))
        place = self._table.place(run)
        self._unread = False
        if not self._lost_run.take(self._table.sizes[place]):
            if not self._unread:  # else the next start tries again
                self._write_end(place)
            self._lost.pop(0)
            self._lost_run = None
        return True

    def _start(self) -> None:
        numbers = []
        for name, size in self._files.sizes():
            if name == _COUNTER:
                self._read_counter()
            elif name == _CALIBRATION:
                self._read_calibration(size)
            elif name.endswith(_SUFFIX):
                run = _number(name)
                if run:
                    numbers.append((run, size))
                else:
                    self.notes.append("not understood: " + name)
        numbers.sort()
        for run, size in numbers:
            if self.last_run < run:
                self.last_run = run
            if size == 0:  # begun, and nothing was safe
                self._files.remove(file_name(run))
            elif self.runs == MAX_RUNS:
                self.notes.append(f"too many runs: {file_name(run)} is left alone")
            else:
                self._look_at(run, size)
        awaited = self._awaited and self._reserved_number > self.last_run
        if self._reserved_number < self.last_run:
            self._reserved_number = self.last_run
        self.last_run = self._reserved_number
        if awaited:
            self._tell_of_awaited(self._reserved_number)
        self._look_for_room()

    def _tell_of_awaited(self, run: int) -> None:
        if self._while_recording or self.runs == MAX_RUNS or not run:
            self.notes.append("a run was awaited when the power went: arm again")
            return
        self.notes.append(f"run {run}, awaited or kept in memory, was lost with the power")
        self._table.add(run, 0, 0, 0)
        self._lost_run = LostRun(run, self._scan)
        self._write_end(self.runs - 1, layout.END_MEMORY_LOST)
        self._lost_run = None

    def _look_at(self, run: int, size: int) -> None:
        scan = self._scan
        place = self.runs
        self._table.add(run, size, 0, 0)
        scan.open(run)
        if not scan.last(size):
            self.notes.append(f"no record of a run in {file_name(run)}")
            self._table.remove(place)
        else:
            self._table.records[place] = scan.index + 1
            if scan.record[0] == layout.KIND_RUN_END:
                self._table.complete[place] = 1
            else:
                self._lost.append(run)
                self.notes.append(f"run {run} lost its power: {scan.index + 1} records are safe")
        scan.open(0)

    def _write_end(self, place: int, cause: int = layout.END_POWER_LOST) -> None:
        buffer = bytearray(layout.MAX_RECORD)
        frame = bytearray(MAX_FRAME)
        run = self._table.numbers[place]
        length = self._lost_run.write_end(buffer, self._reset_cause, cause)  # type: ignore[union-attr]
        if not length:
            return
        added = cobs.frame(buffer, length, frame)
        try:
            self._files.append(file_name(run), memoryview(frame)[:added])
            self._files.sync()
            self._files.close()
        except OSError as error:
            self._fail(error)
            return
        self._table.sizes[place] += added
        self._table.records[place] += 1
        self._table.complete[place] = 1
        self._look_for_room()

    def _read_counter(self) -> None:
        buffer = bytearray(16)
        count = self._files.read(_COUNTER, 0, memoryview(buffer))
        words = bytes(buffer[:count]).split()
        try:
            self._reserved_number = int(words[0])
        except (ValueError, IndexError):
            self.notes.append("the counter of runs was not readable")
            return
        self._awaited = words[1:] == [_AWAITED]

    def _write_counter(self, awaited: bool) -> None:
        self._files.replace(_COUNTER, b"%d %s\n" % (self._reserved_number, _AWAITED if awaited else b""))
        self._awaited = awaited

    def _read_calibration(self, size: int) -> None:
        buffer = bytearray(size)
        count = self._files.read(_CALIBRATION, 0, memoryview(buffer))
        payload = bytes(buffer[: count - 4]) if count > 4 else b""
        if payload and crc32(payload).to_bytes(4, "little") == bytes(buffer[count - 4 : count]):
            self.calibration = payload
        else:
            self.notes.append("the calibration kept is damaged")

    # Helpers

    def _look_for_room(self) -> None:
        free = self._files.free_blocks() - RESERVED_BLOCKS
        self._free_bytes = free * (self._files.block_size - _POINTERS) if free > 0 else 0

    def _save(self, end: int) -> None:
        # From the tail to the file, up to `end`.
        try:
            piece = self._tail_view[self._tail_saved : end]
            self._files.append(file_name(self._writing), piece)
            self._tail_saved = end
        except OSError as error:
            self._fail(error)

    def _synchronise(self) -> None:
        if self._failed:
            return
        try:
            self._files.sync()
            self._tail_used = 0
            self._tail_saved = 0
        except OSError as error:
            self._fail(error)

    def _fail(self, error: OSError) -> None:
        self._failed = True
        self.problem = f"flash: {error}"

    def _load(self, run: int, offset: int, buffer: memoryview) -> int:
        # Bytes of a run: from its file, then what is not in it yet.
        size = self._table.sizes[self._table.place(run)]
        tail = self._tail_used if run == self._writing else 0
        in_file = size - tail
        count = 0
        if offset < in_file:
            count = in_file - offset
            if count > len(buffer):
                count = len(buffer)
            try:
                count = int(self._files.read(file_name(run), offset, buffer[:count]))
            except OSError as error:
                self.problem = f"flash: {error}"
                self._unread = True
                return 0
            if offset + count < in_file:
                return count
        at = offset + count - in_file
        more = tail - at
        if more > len(buffer) - count:
            more = len(buffer) - count
        if more > 0:
            buffer[count : count + more] = self._tail_view[at : at + more]
            count += more
        return int(count)
