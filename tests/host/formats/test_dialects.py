"""Written in any dialect, read back exactly; and no text at all makes the reader stumble."""

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from breakyard.errors import BreakyardError
from breakyard.formats import table as module
from breakyard.formats.numbers import NumberReader
from breakyard.formats.read_csv import parse_csv
from breakyard.formats.recording import Column, CsvOptions
from breakyard.formats.sniff import Dialect
from breakyard.formats.text import Lines

LOADS = st.floats(min_value=-1e8, max_value=1e8).filter(lambda load: load == 0.0 or abs(load) > 1e-3)
STEPS = st.integers(min_value=1, max_value=5_000_000)


@st.composite
def dialects(draw: st.DrawFn) -> dict[str, object]:
    separator, decimal = draw(st.sampled_from([(";", ","), (";", "."), (",", "."), ("\t", ","), ("\t", ".")]))
    return {
        "separator": separator,
        "decimal": decimal,
        "end": draw(st.sampled_from(["\n", "\r\n", "\r"])),
        "encoding": draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16"])),
        "preamble": draw(st.lists(st.sampled_from(["Made by a bench", "Date: 3 May", ""]), max_size=3)),
        "unit_row": draw(st.booleans()),
        "quoted": draw(st.booleans()),
        "swapped": draw(st.booleans()),
        "last_end": draw(st.booleans()),
    }


def written(numbers: list[tuple[str, str]], dialect: dict[str, object]) -> bytes:
    """A file of times and loads as the dialect has it."""
    separator, decimal = str(dialect["separator"]), str(dialect["decimal"])
    names = [("Time", "Load"), ("s", "N")] if dialect["unit_row"] else [("Time [s]", "Load [N]")]
    rows = names + [(t.replace(".", decimal), f.replace(".", decimal)) for t, f in numbers]
    lines = list(dialect["preamble"])  # type: ignore[call-overload]
    for row in rows:
        cells = [f'"{cell}"' if dialect["quoted"] else cell for cell in row]
        lines.append(separator.join(cells[::-1] if dialect["swapped"] else cells))
    text = str(dialect["end"]).join(lines) + (str(dialect["end"]) if dialect["last_end"] else "")
    return text.encode(str(dialect["encoding"]))


@given(st.lists(st.tuples(STEPS, LOADS), min_size=2, max_size=40), dialects())
@settings(max_examples=300)
def test_any_dialect_reads_back_exactly(samples: list[tuple[int, float]], dialect: dict[str, object]) -> None:
    """Times and loads are the same doubles that were written, whatever the marks, ends, quotes and order."""
    micros = np.cumsum([step for step, _ in samples])
    times = [f"{int(t) // 10**6}.{int(t) % 10**6:06d}" for t in micros]
    loads = [repr(load) for _, load in samples]
    data = written(list(zip(times, loads, strict=True)), dialect)

    recording = parse_csv(data)

    assert recording.time_s.tolist() == [float(t) for t in times]
    assert recording.load_n is not None
    assert recording.load_n.tolist() == [load for _, load in samples]
    assert recording.layout.decimal == dialect["decimal"]
    assert recording.layout.separator == dialect["separator"]


FIELDS = st.one_of(
    st.from_regex(r"[+-]?[0-9]{0,4}[.,]?[0-9]{0,4}([eE][+-]?[0-9]{1,3})?", fullmatch=True),
    st.sampled_from(
        ["", " 1 ", "nan", "inf", "True", "1 000", "1,000.5", "1.000,5", "0x1", "1_0", "+-1", '"2"', "#1"]
    ),
)


@given(st.lists(FIELDS, min_size=1, max_size=2), st.sampled_from([",", "."]))
@settings(max_examples=400, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
def test_the_fast_reader_never_differs_from_the_strict_one(fields: list[str], decimal: str) -> None:
    """Where numbers are read at once, they are those that the strict reader finds one by one."""
    lines = Lines("\n".join(f"{row};{text}" for row, text in enumerate(["1", "2", *fields])))
    dialect = Dialect(";", decimal, None, 0, 2, (True, True))
    wanted = [Column("", 1, "s"), Column("", 2, "N")]

    fast = module._fast(lines, 0, len(lines), dialect, wanted)

    assume(fast is not None)
    assert fast is not None
    table = module.ColumnTable([], [])
    strict = module._strict(lines[0:], 0, True, dialect, wanted, "x", table)
    assert (table.blank, table.missing, table.remarks, table.cut) == ([], [], [], None)
    assert [list(one) for one in fast.values] == [list(one) for one in strict.values]
    assert fast.rows.tolist() == strict.rows.tolist()


@given(st.integers(min_value=-(10**12), max_value=10**12), st.integers(min_value=0, max_value=999))
def test_grouped_thousands(whole: int, thousandths: int) -> None:
    """Python's own grouping is read back, with either pair of marks and with blanks."""
    text = f"{whole:,}.{thousandths:03d}"
    expected = float(f"{whole}.{thousandths:03d}")

    assert NumberReader(".", ",").read(text) == expected
    assert NumberReader(",", ".").read(text.translate(str.maketrans(".,", ",."))) == expected
    assert NumberReader(".", None).read(text.replace(",", " ")) == expected


def rises_or_is_refused(data: bytes, options: CsvOptions) -> bool:
    try:
        recording = parse_csv(data, options=options)
    except BreakyardError as error:
        return bool(str(error)) and "\n" not in str(error)
    return recording.time_s.size >= 2 and bool((np.diff(recording.time_s) > 0).all())


@given(
    st.one_of(
        st.text(max_size=200),
        st.text(alphabet="0123456789.,;\t \n\r\"'-eETime[sNkg]", max_size=200),
    ),
    st.booleans(),
)
@settings(max_examples=500)
def test_no_text_makes_the_reader_stumble(text: str, named: bool) -> None:
    """Any text is read or refused with one line of the tree of errors."""
    options = CsvOptions(time_column=1, load_column=2, time_unit="s", unit="N") if named else CsvOptions()

    assert rises_or_is_refused(text.encode(), options)


@given(st.binary(max_size=200))
def test_no_bytes_make_the_reader_stumble(data: bytes) -> None:
    assert rises_or_is_refused(data, CsvOptions())


@pytest.mark.parametrize("text", ["a\x0bb\nc", "a\u2028b\nc"])
def test_only_line_ends_end_lines(text: str) -> None:
    lines = Lines(text)

    assert len(lines) == 2
    assert list(lines) == lines[0:] == text.split("\n")


def test_one_column_of_numbers_lacks_its_times() -> None:
    """Loads alone are no recording: what is missing is said, not that a separator is."""
    with pytest.raises(BreakyardError, match="the time of each is needed"):
        parse_csv(b"load\n1.5\n2.5\n300.0\n2.0\n")
    with pytest.raises(BreakyardError, match="separates the columns"):
        parse_csv(b"breakyard\n")
