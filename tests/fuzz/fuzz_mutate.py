"""Inputs for where no fuzzer is installed: seeds, changed at random in the ways that break decoders."""

INTERESTING = (0, 1, 3, 0x7F, 0x80, 0xFE, 0xFF)


def mutated(draw, seeds, longest):
    """One input: a seed, or two put together, with some changes. `draw` is a random.Random."""
    out = bytearray(draw.choice(seeds))
    if draw.random() < 0.2:
        other = draw.choice(seeds)
        out = out[: draw.randint(0, len(out))] + other[draw.randint(0, len(other)) :]
    for _ in range(draw.choice((1, 1, 2, 3, 8))):
        place = draw.randint(0, len(out))
        what = draw.randrange(6)
        length = draw.choice((1, 1, 2, 4, 30))
        if what == 0 and place < len(out):
            out[place] ^= 1 << draw.randrange(8)
        elif what == 1 and place < len(out):
            out[place] = draw.choice(INTERESTING)
        elif what == 2:
            del out[place : place + length]
        elif what == 3:
            out[place:place] = draw.randbytes(length)
        elif what == 4:
            out[place:place] = out[place : place + length]
        else:
            out[place : place + length] = draw.randbytes(length)
    return bytes(out[:longest])
