"""Files as people have them: read with every doubt told, or refused in one line that says what to do."""

from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breakyard.errors import DataError, UnitError, UsageError
from breakyard.formats import table
from breakyard.formats.read_csv import parse_csv
from breakyard.formats.recording import CsvOptions, Recording
from breakyard.formats.text import Lines, decode


def read(text: str | bytes, **options: object) -> Recording:
    """Read a file, and again as a session would from what was settled: both must be the same."""
    data = text.encode() if isinstance(text, str) else text
    first = parse_csv(data, where="pull.csv", options=CsvOptions(**options))  # type: ignore[arg-type]
    kept = CsvOptions.from_dict(first.layout.as_options().to_dict())
    again = parse_csv(data, where="pull.csv", options=kept)
    np.testing.assert_array_equal(again.time_s, first.time_s)
    np.testing.assert_array_equal(again.load_n, first.load_n)
    assert (again.extension_m is None) == (first.extension_m is None)
    return first


def loads(recording: Recording) -> list[float]:
    assert recording.load_n is not None
    return recording.load_n.tolist()


def told(recording: Recording) -> str:
    return " | ".join(recording.layout.notes)


def rows(separator: str = ",", decimal: str = ".", number: int = 40, step: float = 0.01) -> str:
    """A plain body: time, load of 1.5 a row."""
    lines = [f"{i * step:.3f}{separator}{i * 1.5:.2f}".replace(".", decimal) for i in range(number)]
    return "\n".join(lines) + "\n"


# Times


def test_one_repeated_millisecond_is_spread_and_said() -> None:
    """After a stall two readings share a stamp: the first of them was made before it, so it goes back into the gap."""
    stamps = [9, 19, 30, 41, 63, 63, 74, 85]
    recording = read("time_ms,force_N\n" + "".join(f"{t},{i}\n" for i, t in enumerate(stamps)))

    np.testing.assert_allclose(recording.time_s[3:7], [0.041, 0.052, 0.063, 0.074], rtol=1e-12)
    assert loads(recording) == list(range(8))
    assert "1 row repeats the time of the row before" in told(recording)


def test_a_clock_of_whole_seconds_is_spread_over_each_second() -> None:
    recording = read("time_s,N\n" + "".join(f"{i // 10},{i}\n" for i in range(50)))

    np.testing.assert_allclose(recording.time_s, np.arange(50) * 0.1, atol=1e-9)


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(1, 6)), min_size=2, max_size=60))
@settings(max_examples=200, deadline=None)
def test_spread_times_rise_and_stay_within_a_step_of_their_stamps(groups: list[tuple[int, int]]) -> None:
    """Whatever repeats: times rise strictly, none leaves the span of its neighbours' stamps, none else moves."""
    stamps = np.repeat(np.cumsum([1 + step for step, _ in groups]), [count for _, count in groups])
    recording = read("time_ms,N\n" + "".join(f"{t},{i}\n" for i, t in enumerate(stamps)))
    distinct = np.unique(stamps) / 1000.0
    place = np.searchsorted(distinct, stamps / 1000.0)
    longest = max(np.diff(distinct), default=0.0)

    assert (np.diff(recording.time_s) > 0.0).all()
    below = np.where(place > 0, distinct[np.maximum(place - 1, 0)], distinct[0])
    above = np.where(
        place < distinct.size - 1, distinct[np.minimum(place + 1, distinct.size - 1)], distinct[-1] + longest
    )
    assert (recording.time_s >= below - 1e-12).all()
    assert (recording.time_s <= above + 1e-12).all()
    alone = np.isin(
        stamps, *[[t for t, n in zip(*np.unique(stamps, return_counts=True), strict=True) if n == 1]]
    )
    np.testing.assert_array_equal(recording.time_s[alone], stamps[alone] / 1000.0)


def test_rows_a_little_out_of_order_are_put_in_order_with_their_loads() -> None:
    stamps = [*range(60), 61, 60, *range(62, 100)]
    recording = read("time_s,N\n" + "".join(f"{t},{t}.5\n" for t in stamps))

    assert recording.time_s.tolist() == list(range(100))
    assert loads(recording) == [t + 0.5 for t in range(100)]
    assert "put in order of time" in told(recording)


def test_two_recordings_in_one_file_are_refused() -> None:
    with pytest.raises(DataError, match=r"row 42.*goes back from 0\.390 to 0\.000.*split the file"):
        read("time_s,N\n" + rows() + rows())


@pytest.mark.parametrize("unit", ["us", "ms"])
def test_a_counter_that_begins_anew_is_joined(unit: str) -> None:
    """32 bits of microseconds last 71.6 minutes."""
    start, step = 2**32 - 60_000, 12_500 if unit == "us" else 12
    stamps = [(start + i * step) % 2**32 for i in range(6000)]
    recording = read(f"time_{unit},N\n" + "".join(f"{t},{i}\n" for i, t in enumerate(stamps)))

    np.testing.assert_allclose(np.diff(recording.time_s), step * {"us": 1e-6, "ms": 1e-3}[unit], rtol=1e-6)
    assert "2^32" in told(recording)


MOMENTS = {
    "iso with zone": lambda when: when.isoformat(timespec="milliseconds") + "+02:00",
    "iso, utc": lambda when: when.isoformat(timespec="microseconds") + "Z",
    "iso with a blank": lambda when: when.isoformat(" ", timespec="milliseconds"),
    "german": lambda when: f"{when:%d.%m.%Y %H:%M:%S}.{when.microsecond // 1000:03d}",
    "american": lambda when: (
        f"{when.month}/{when.day}/{when.year} {when:%I:%M:%S}.{when.microsecond // 1000:03d} {when:%p}"
    ),
    "month by name": lambda when: f"{when:%d-%b-%Y %H:%M:%S}.{when.microsecond // 1000:03d}",
    "time of day": lambda when: f"{when:%H:%M:%S}.{when.microsecond // 1000:03d}",
    "with colons only": lambda when: f"{when:%H:%M:%S}:{when.microsecond // 1000:03d}",
}


@pytest.mark.parametrize("kind", MOMENTS)
def test_dates_and_times_of_day_count_from_the_first_across_midnight(kind: str) -> None:
    start = datetime(2026, 4, 30, 23, 59, 58, 500_000)
    texts = [MOMENTS[kind](start + timedelta(milliseconds=25 * i)) for i in range(200)]
    recording = read("Time;Load [N]\n" + "".join(f"{text};{i}\n" for i, text in enumerate(texts)))

    np.testing.assert_allclose(recording.time_s, 0.025 * np.arange(200), atol=1e-9)
    assert recording.layout.time.unit == "clock"


def test_a_date_beside_a_time_of_day_takes_the_time() -> None:
    text = "Datum;Uhrzeit;Kraft [N]\n" + "".join(f"03.05.2026;10:00:{i:02d},5;{i},25\n" for i in range(30))
    recording = read(text)

    np.testing.assert_allclose(recording.time_s, np.arange(30), atol=1e-9)
    assert loads(recording) == [i + 0.25 for i in range(30)]


def test_minutes_and_seconds() -> None:
    recording = read(
        "Time,Load (N)\n" + "".join(f"{i // 600:02d}:{i // 10 % 60:02d}.{i % 10},{i}\n" for i in range(900))
    )

    np.testing.assert_allclose(recording.time_s, 0.1 * np.arange(900), atol=1e-9)


def test_a_damaged_date_is_refused_with_its_row() -> None:
    text = "Time,Load (N)\n" + "".join(f"2026-05-03T10:00:{i:02d}Z,{i}\n" for i in range(30))

    with pytest.raises(DataError, match=r'row 9, column "Time": "2026-05-03T10:00:7xZ"'):
        read(text.replace("10:00:07Z", "10:00:7xZ"))


def test_a_clock_beside_an_option_for_numbers_is_refused() -> None:
    text = "Time,Load (N)\n" + "".join(f"10:00:{i:02d},{i}\n" for i in range(30))

    with pytest.raises(UnitError, match="need no --time-unit"):
        read(text, time_unit="s")
    with pytest.raises(UnitError, match="no dates"):
        read("Time,Load (N)\n" + rows(), time_unit="clock")


@pytest.mark.parametrize(
    ("stamps", "unit"),
    [
        ([0.0125 * i for i in range(200)], "s"),
        ([12 * i + i % 2 for i in range(200)], "ms"),
        ([12_500 * i for i in range(200)], "us"),
        ([1_714_723_200 + 0.5 * i for i in range(200)], "s"),
        ([1_714_723_200_000 + 12 * i for i in range(200)], "ms"),
    ],
)
def test_times_without_a_unit_are_known_where_only_one_makes_sense(stamps: list[float], unit: str) -> None:
    recording = read("Time,Load (N)\n" + "".join(f"{t},{i}\n" for i, t in enumerate(stamps)))

    assert recording.layout.time.unit == unit
    assert f"taken for {unit}" in told(recording)


def test_times_without_a_unit_that_could_be_two_are_asked_for() -> None:
    with pytest.raises(UnitError, match="--time-unit"):
        read("Time,Load (N)\n" + "".join(f"{i},{i}\n" for i in range(200)))


# Units and columns


@pytest.mark.parametrize("header", ["time,kgf", "time,KGF", "time,Load [kgf]", "time,load_kgf", "time,kp"])
def test_a_unit_in_the_header_is_never_overruled(header: str) -> None:
    """3283 N must not become 334 820 N because somebody asked for kN."""
    assert loads(read(f"{header}\n0.0,1\n0.1,2\n0.2,3\n"))[1] == pytest.approx(2 * 9.80665)
    for wrong in ("kN", "N", "counts"):
        with pytest.raises(UnitError, match="header says kgf"):
            read(f"{header}\n0.0,1\n0.1,2\n0.2,3\n", unit=wrong)


def test_a_bare_unit_of_time_is_never_overruled() -> None:
    with pytest.raises(UnitError, match="header says s"):
        read("s,kN\n" + rows(), time_unit="ms")


@pytest.mark.parametrize(
    ("word", "newtons"),
    [
        ("Newton", 1.0),
        ("mN", 0.001),
        ("MN", 1e6),
        ("kp", 9.80665),
        ("klbf", 4448.2216152605),
        ("gf", 0.00980665),
    ],
)
def test_more_units_of_force_in_files(word: str, newtons: float) -> None:
    """NIST SP 811 (2008), Appendix B.8; 1 kp is 1 kgf."""
    assert loads(read(f"Time [s],Load ({word})\n" + rows()))[2] == pytest.approx(3.0 * newtons)


def test_the_same_load_in_two_units_is_one_load() -> None:
    text = "Time [s],Time [ms],Load [N],Load [kgf]\n"
    text += "".join(f"{i * 0.01:.2f},{i * 10},{i * 1.5:.1f},{i * 1.5 / 9.80665:.1f}\n" for i in range(50))
    recording = read(text)

    assert loads(recording) == [i * 1.5 for i in range(50)]
    assert recording.time_s[-1] == pytest.approx(0.49)
    assert "says the same" in told(recording)


def test_two_loads_that_differ_are_asked_for() -> None:
    text = "Time [s],Cell A [N],Cell B [N]\n" + "".join(f"{i * 0.01:.2f},{i},{2 * i}\n" for i in range(50))

    with pytest.raises(DataError, match="--load-column"):
        read(text)
    assert loads(read(text, load_column="Cell B"))[1] == 2.0


def test_an_extension_can_be_left_aside() -> None:
    text = "Time [s],Travel [mm],Load [N]\n0,0,1\n1,1,2\n"

    assert read(text).extension_m is not None
    assert read(text, extension_column="none").extension_m is None
    with pytest.raises(UsageError, match="no column"):
        read(text, extension_column="nothing")


def test_counts_whose_sign_was_lost_are_mended() -> None:
    """24-bit two's complement, written as if it had no sign: -500 is 16 776 716."""
    recording = read(
        "time_s,counts\n" + "".join(f"{i * 0.01:.2f},{(i * 100 - 500) % 2**24}\n" for i in range(50))
    )

    assert recording.counts is not None
    assert recording.counts.tolist() == [i * 100 - 500 for i in range(50)]
    assert "24 bits" in told(recording)


def test_a_large_count_alone_is_no_lost_sign() -> None:
    recording = read(
        "time_s,counts\n" + "".join(f"{i * 0.01:.2f},{8_388_608 + i * 1000}\n" for i in range(50))
    )

    assert recording.counts is not None
    assert recording.counts[0] == 8_388_608


# Rows


@pytest.mark.parametrize("word", ["NaN", "nan", "", "-", "N/A", "#N/A", "null"])
def test_rows_without_a_load_are_left_out_and_counted(word: str) -> None:
    body = [f"{i * 0.01:.2f},{word if i in (3, 7) else i}" for i in range(50)]
    recording = read("Time (s),Load (N)\n" + "\n".join(body) + "\n")

    assert loads(recording) == [i for i in range(50) if i not in (3, 7)]
    assert "2 rows had no load" in told(recording)
    assert "row 5" in told(recording)


def test_what_means_overload_is_not_left_out() -> None:
    for word in ("OL", "inf", "OVER"):
        with pytest.raises(DataError, match="row 5"):
            read(
                "Time (s),Load (N)\n"
                + "\n".join(f"{i * 0.01:.2f},{word if i == 3 else i}" for i in range(50))
            )


def test_a_column_without_loads_is_the_wrong_one() -> None:
    body = [f"{i * 0.01:.2f},{i if i < 700 else ''}" for i in range(20_000)]

    with pytest.raises(DataError, match="hold no load"):
        read("Time (s),Load (N)\n" + "\n".join(body))


def test_footers_and_headers_between_pages_are_left_out_and_told() -> None:
    text = "Time (s),Load (N)\n" + rows() + "Time (s),Load (N)\n"
    text += "".join(f"{1 + i * 0.01:.2f},{i}\n" for i in range(40)) + "\nTest ended\nMax load,77.5\n"
    recording = read(text)

    assert len(loads(recording)) == 80
    assert 'row 42 ("Time (s),Load (N)") and 2 more rows' in told(recording)


def test_a_file_of_mostly_words_is_refused() -> None:
    text = "Time (s),Load (N)\n" + rows(number=60) + "words,words\n" * 20

    with pytest.raises(DataError, match=r'row 62: "words,words" holds no number, nor do 19 other rows'):
        read(text)


def test_a_last_row_that_is_cut_off_is_left_out_and_told() -> None:
    recording = read("Time [s],Load [N]\n" + rows() + "0.4")

    assert len(loads(recording)) == 40
    assert "last row (42) is cut off" in told(recording)
    with pytest.raises(DataError, match=r"row 42.*cut off"):
        read("Time [s],Load [N]\n" + rows() + "0.4\n0.5,3\n")


@pytest.mark.parametrize("load", ["1e200", "-3e12", "1e300"])
def test_loads_beyond_anything_are_refused_in_one_line(load: str) -> None:
    with pytest.raises(DataError, match=r'row 3, column "N": .*no load that anything can be pulled with'):
        read(f"time_s,N\n0.0,1\n0.1,{load}\n0.2,3\n")


def test_a_recording_of_nothing_is_refused_in_one_line() -> None:
    with pytest.raises(DataError, match=r'column "N": the largest load is 3e-300 N, which is nothing'):
        read("time_s,N\n0.0,1e-300\n0.1,2e-300\n0.2,3e-300\n")


@pytest.mark.parametrize(
    ("header", "end"),
    [
        ("Time (s),Load (N),", ","),
        ("Time (s),Load (N)", ",,"),
        ("Time (s),Load (N),,", ""),
        ("Time (s),Load (N),,", ",,"),
    ],
)
def test_empty_columns_at_the_end_are_nothing(header: str, end: str) -> None:
    assert len(loads(read(header + "\n" + "".join(f"{i * 0.01:.2f},{i}.5{end}\n" for i in range(50))))) == 50


@pytest.mark.parametrize(
    "text",
    [
        "Time [s]   Load [N]\n" + rows("   "),
        "Time [s] Load [N]\n" + rows(" "),
        "  Time     Load\n   (s)      (N)\n" + rows("   "),
        "Zeit s  Kraft N\n" + rows("  ", ","),
        "time_s force_N\n" + rows("\t  "),
    ],
)
def test_columns_parted_by_blanks(text: str) -> None:
    recording = read(text)

    assert loads(recording) == [i * 1.5 for i in range(40)]
    assert recording.time_s[-1] == pytest.approx(0.39)


def test_a_preamble_of_quoted_comma_lines_with_units_in_a_second_row() -> None:
    text = '"Thickness",1.5,"mm"\n"Width","A; B"\n\n"Time","Load","Travel"\n"(s)","(N)","(mm)"\n'
    recording = read(text + "".join(f'"{i * 0.01:.2f}","{i}.5","0.1"\n' for i in range(30)))

    assert loads(recording) == [i + 0.5 for i in range(30)]
    assert recording.extension_m is not None


# Bytes


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "latin-1"]
)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(encoding: str, end: str) -> None:
    """UTF-16 is what PowerShell's > writes; without a mark it is known by its zero bytes."""
    text = ("Zeit [s];Prüfkraft [N]\n" + rows(";", ",")).replace("\n", end)

    assert loads(read(text.encode(encoding))) == [i * 1.5 for i in range(40)]


def test_blocks_join_without_a_seam(monkeypatch: pytest.MonkeyPatch) -> None:
    """Odd cells, blank rows and rows of words in some blocks leave every number at its row."""
    body = [f"{i * 0.01:.2f};{i}.5" for i in range(200)]
    body[17], body[60], body[61], body[150] = "", "end of page", "0.61;1 234.5", "1.5;"
    text = "Time [s];Load [N]\n" + "\n".join(body) + "\n"
    whole = read(text)
    monkeypatch.setattr(table, "BLOCK_ROWS", 16)
    pieces = read(text)

    np.testing.assert_array_equal(pieces.time_s, whole.time_s)
    np.testing.assert_array_equal(pieces.load_n, whole.load_n)
    assert pieces.layout == whole.layout
    assert pieces.layout.skipped_rows == (19,)
    with pytest.raises(DataError, match=r"row 182"):
        read(text.replace("1.80;180.5", "1.80;180x5"))


@given(st.text(alphabet=st.sampled_from("ab;\n\r\u00e4\U0001f600"), max_size=60))
def test_lines_are_those_of_the_text(text: str) -> None:
    """Against the plain way: one str, split."""
    expected = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    lines = Lines(text)

    assert list(lines) == expected
    assert [lines[at] for at in range(len(lines))] == expected
    assert lines[1:3] == expected[1:3]
    while expected and not expected[-1].strip():
        expected.pop()
    assert lines.without_blank_end() == len(expected)


def test_damaged_utf_16_is_refused() -> None:
    with pytest.raises(DataError, match="utf-16"):
        decode(b"\xff\xfeT\xd8", "x.csv")


# Tables as testing machines and students write them


def test_a_row_of_units_may_hold_units_of_anything() -> None:
    """Stress, strain and a column without a unit beside the load: the names above them still are the names."""
    recording = read(
        'Cleat,"A7"\n\nExtension,Load,Stress,Time,Points,Extension,Strain\n(mm),(N),(MPa),(s),,(mm),(mm/mm)\n'
        + "".join(
            f"{i * 0.1:.1f},{i * 7},{i},{i * 0.01:.2f},0,{i * 0.1:.1f},{i * 0.001:.3f}\n" for i in range(30)
        )
    )

    assert recording.layout.load.name == "Load [N]"
    assert recording.layout.time.name == "Time [s]"
    assert loads(recording)[:3] == [0.0, 7.0, 14.0]


@pytest.mark.parametrize(
    "units", ["s;kN;MPa;%", "[s];[kN];[MPa];[%]", "s;kN;N/mm²;°C", "(s);(kN);(widgets);(-)"]
)
def test_a_row_of_units_needs_no_brackets(units: str) -> None:
    body = "".join(f"{i * 0.1:.1f};{i * 2};{i};{i}\n" for i in range(30))
    recording = read(f"Time;Load;Stress;Other\n{units}\n{body}")

    assert (recording.layout.load.unit, recording.layout.time.name) == ("kN", "Time [s]")
    assert loads(recording)[1] == 2000.0


def test_a_unit_may_stand_before_the_name() -> None:
    recording = read("[ms] Time,[um] Displacement,[kN] Force,[C] Air\n0,0,0,9\n20,5,1,9\n40,9,2,9\n")

    assert (recording.layout.time.unit, recording.layout.load.unit) == ("ms", "kN")
    assert recording.layout.extension is not None
    assert recording.layout.extension.unit == "um"
    assert recording.time_s.tolist() == [0.0, 0.02, 0.04]


def test_a_unit_may_stand_within_the_name() -> None:
    recording = read('"Time (s) Run #1","Force (N) Run #1"\n' + rows())

    assert (recording.layout.time.unit, recording.layout.load.unit) == ("s", "N")


def test_a_table_of_results_above_the_recording_is_none_of_it() -> None:
    """Its rows hold enough numbers to be the recording's first ones, but stand under a header of their own."""
    results = "Results,,,,\n,Gauge length,Largest force,Speed,Note\n,(mm),(N),(mm/min),\n"
    results += "1,9.5,600,50,\n2,9.7,610,50,\n\n"
    body = "".join(f",{i * 0.02:.2f},{i * 0.1:.1f},{i * 20},{i}\n" for i in range(30))
    recording = read(f"{results}1,Time,Displacement,Force,Stress\n,(s),(mm),(N),(MPa)\n{body}")

    assert recording.layout.header_rows == 8
    assert recording.layout.load.name == "Force [N]"
    assert loads(recording)[:2] == [0.0, 20.0]


def test_blocks_under_the_same_header_are_one_table() -> None:
    """Some machines write their header anew for each buffer; the first block may be shorter than the second."""

    def block(first: int, number: int) -> str:
        return f"Acquired{first}\nTime,Force\ns,N\n" + "".join(
            f"{t},{2 * t}\n" for t in range(first, first + number)
        )

    recording = read(block(0, 10) + block(10, 30))

    assert recording.time_s.tolist() == list(range(40))


def test_pairs_of_key_and_value_above_a_table_name_no_columns() -> None:
    lines = "Method\tBreak\nProgram\t4: Ramp force 1 N/min to 18 N\nSize\t10\t5\tmm\n"
    body = "".join(f"{i * 0.03:.2f}\t26.0\t-0.5\t{i}\t6.5\t10.1\t0.1\n" for i in range(30))

    with pytest.raises(DataError, match="columns 1 to 7, without names"):
        read(lines + body)


def test_a_table_on_its_side_is_refused_with_the_way_out() -> None:
    times = ",".join(f"{i * 0.01:.2f}" for i in range(400))
    with pytest.raises(DataError, match=r"2 rows of 400 numbers: the table lies on its side.*transpose"):
        read(f"{times}\n{times}\n")


def test_an_extension_that_cannot_be_read_need_not_be() -> None:
    """A spreadsheet grouped the thousands of a column with decimal commas; the loads beside it are sound."""
    text = "Time;Displacement;Force\n(s);(mm);(kN)\n" + "".join(
        f"{i},5;{'1,000,292' if i == 650 else f'{i},25'};0,0{i:03d}\n" for i in range(700)
    )
    with pytest.raises(DataError, match=r"row 653.*--extension-column none"):
        read(text)

    assert len(loads(read(text, extension_column="none"))) == 700


@pytest.mark.parametrize(
    "text",
    [
        "".join(f"{1.5 * i:.2f}\n" for i in range(40)),
        "Force (kN)\n" + "".join(f"{0.0015 * i:.5f}\n" for i in range(40)),
        "Position (mm),Force (N)\n" + "".join(f"{0.1 * i:.1f},{1.5 * i:.2f}\n" for i in range(40)),
        "Weg;Kraft\n(mm);(N)\n" + "".join(f"{i},5;{int(1.5 * i)},{5 * (i % 2)}\n" for i in range(40)),
    ],
)
@pytest.mark.parametrize("rate", ["50", "50 Hz", "50/s"])
def test_a_file_without_times_is_read_at_a_stated_rate(text: str, rate: str) -> None:
    unit = None if "(" in text else "N"
    recording = read(text, rate=rate, unit=unit)

    np.testing.assert_allclose(recording.time_s, np.arange(40) * 0.02, rtol=1e-12)
    np.testing.assert_allclose(loads(recording), 1.5 * np.arange(40), rtol=1e-9)
    assert "times from 50 readings a second, as stated" in recording.layout.sentence()


def test_at_a_stated_rate_a_reading_without_a_load_took_its_time() -> None:
    recording = read("mm,N\n0,0\n1,nan\n2,6\n3,9\n4,12\n5,15\n6,18\n7,21\n8,24\n9,27\n10,30\n", rate="10")

    np.testing.assert_allclose(recording.time_s[:3], [0.0, 0.2, 0.3], rtol=1e-12)
    assert loads(recording)[:3] == [0.0, 6.0, 9.0]


def test_a_rate_beside_times_is_a_slip() -> None:
    with pytest.raises(UsageError, match=r'column "time_s" holds times, so leave out --rate'):
        read("time_s,N\n" + rows(), rate="50")
    assert loads(read("time_s,N\n" + rows(), rate="50", time_column="none"))[1] == 1.5
    with pytest.raises(UsageError, match="for a file without times"):
        read("time_s,N\n" + rows(), rate="50", time_column="time_s")


@pytest.mark.parametrize("rate", ["", "0", "-5", "often", "1e99", "50 kHz"])
def test_a_rate_that_is_none_is_refused(rate: str) -> None:
    with pytest.raises(UsageError, match="readings a second"):
        read("mm,N\n" + rows(), rate=rate)


def test_a_file_without_times_says_what_to_give() -> None:
    with pytest.raises(
        DataError, match=r"--time-column, or --rate where there is none \(the file has \"Position \(mm\)\""
    ):
        read("Position (mm),Force (N)\n" + rows())
    with pytest.raises(DataError, match=r"one column of numbers.*--rate"):
        read("".join(f"{i}\n" for i in range(30)))


def test_names_in_other_scripts() -> None:
    """Chinese and Japanese testing machines name their columns in their own words."""
    body = "".join(f"{i * 0.05:.2f},{i * 0.1:.1f},{i * 2.5:.2f}\n" for i in range(30))
    recording = read(f"\n时间,位移,力\n(s),(mm),(N)\n{body}")

    assert recording.layout.load.name == "力 [N]"
    assert recording.layout.extension is not None
    assert read(f"时间,位移,力\n{body}", time_unit="s", unit="N").layout.load.name == "力"


def test_names_that_nobody_knows_above_their_units() -> None:
    body = "".join(f"{i * 0.05:.2f}\t{i * 0.1:.1f}\t{i * 2.5:.2f}\t0\n" for i in range(30))
    recording = read(f"Qwx\tQwy\tQwz\tQwv\nsec\tmm\tkN\tkN·mm\n{body}")

    assert recording.layout.load.name == "Qwz [kN]"
    assert loads(recording)[1] == 2500.0
