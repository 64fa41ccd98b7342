"""Which moment an output frame shows: real time, and slower around the break."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PaceStretch:
    """A stretch from `start_s` to `end_s` of what is shown, `slower` times slower than it is played else."""

    start_s: float
    end_s: float
    slower: float = 1.0

    @property
    def length_s(self) -> float:
        """How long it takes in the film."""
        return (self.end_s - self.start_s) * self.slower


@dataclass(frozen=True, slots=True)
class Pace:
    """Pieces one after another, without holes."""

    pieces: tuple[PaceStretch, ...]

    @property
    def length_s(self) -> float:
        """Of the whole film."""
        return sum(piece.length_s for piece in self.pieces)

    @property
    def steady(self) -> bool:
        """Whether nothing is slowed down, so that sound can be copied."""
        return all(piece.slower == 1.0 for piece in self.pieces)

    def shown_at(self, film_s: float) -> float:
        """The moment shown at a time of the film."""
        for piece in self.pieces:
            if film_s < piece.length_s:
                return piece.start_s + film_s / piece.slower
            film_s -= piece.length_s
        return self.pieces[-1].end_s

    def film_time(self, shown_s: float) -> float:
        """When a moment is shown."""
        passed = 0.0
        for piece in self.pieces:
            if shown_s < piece.end_s:
                return passed + max(0.0, shown_s - piece.start_s) * piece.slower
            passed += piece.length_s
        return passed

    def slower_at(self, shown_s: float) -> float:
        """How many times slower a moment is shown."""
        return next((piece.slower for piece in self.pieces if piece.start_s <= shown_s < piece.end_s), 1.0)


def paced(start_s: float, end_s: float, slow_from_s: float, slow_to_s: float, slower: float) -> Pace:
    """From start to end, with a part in between that is slower; parts without length are left out."""
    first, last = min(max(slow_from_s, start_s), end_s), max(min(slow_to_s, end_s), start_s)
    pieces = [
        PaceStretch(start_s, first),
        PaceStretch(first, max(first, last), slower),
        PaceStretch(max(first, last), end_s),
    ]
    kept = tuple(piece for piece in pieces if piece.end_s > piece.start_s)
    return Pace(kept or (PaceStretch(start_s, end_s),))
