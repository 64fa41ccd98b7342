"""Recordings of other instruments: read as they are, or refused in one line that says where and what to do."""

import re

import numpy as np
import pytest

from breakyard.errors import BreakyardError, DataError, UnitError, UsageError
from breakyard.formats.read_csv import parse_csv, read_csv
from breakyard.formats.recording import CsvOptions, Recording

# Newtons in one unit: NIST SP 811 (2008), Appendix B.8.
NEWTONS = {"N": 1.0, "kN": 1000.0, "kgf": 9.80665, "lbf": 4.4482216152605}


def read(text: str, **options: object) -> Recording:
    return parse_csv(text.encode(), where="pull.csv", options=CsvOptions(**options))  # type: ignore[arg-type]


def refused(text: str | bytes, kind: type[BreakyardError], **options: object) -> str:
    """The one line with which a file is refused."""
    data = text.encode() if isinstance(text, str) else text
    with pytest.raises(kind) as caught:
        parse_csv(data, where="pull.csv", options=CsvOptions(**options))  # type: ignore[arg-type]
    line = str(caught.value)
    assert line.startswith("pull.csv")
    assert "\n" not in line
    return line


@pytest.mark.parametrize("unit", NEWTONS)
def test_ten_thousand_uneven_steps_with_decimal_comma_and_two_header_rows(unit: str) -> None:
    """Every time and load of a long semicolon file comes back exactly, in each unit."""
    rng = np.random.default_rng(20)
    micros = np.cumsum(rng.integers(200, 40_000, 10_000))
    thousandths = rng.integers(0, 9_999_999, 10_000)
    rows = [
        f"{t // 10**6},{t % 10**6:06d};{f // 1000},{f % 1000:03d}"
        for t, f in zip(micros, thousandths, strict=True)
    ]
    text = "\r\n".join(["Zeit;Kraft", f"[s];[{unit}]", *rows]) + "\r\n"

    recording = parse_csv(text.encode("utf-8-sig"), name="long")

    assert recording.load_n is not None
    np.testing.assert_array_equal(recording.time_s, micros / 1e6)
    np.testing.assert_allclose(recording.load_n, thousandths / 1000 * NEWTONS[unit], rtol=1e-15)
    assert recording.layout.header_rows == 2
    assert (recording.layout.separator, recording.layout.decimal) == (";", ",")


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("Time [s],Load [kN]", "kN"),
        ("time/s,Load (kN)", "kN"),
        ("time_s,load_n", "N"),
        ("Time s,Load lbf", "lbf"),
        ("t in s,F in kgf", "kgf"),
        ("s,N", "N"),
        ("Elapsed seconds [sec],Pull [KGF]", "kgf"),
        ('"Time, elapsed [s]","Force, cell 1 [N]"', "N"),
    ],
)
def test_units_are_read_from_headers(header: str, unit: str) -> None:
    recording = read(f"{header}\n0.5,1.5\n1.5,2.5\n")

    assert recording.load_n is not None
    np.testing.assert_array_equal(recording.time_s, [0.5, 1.5])
    np.testing.assert_allclose(recording.load_n, np.array([1.5, 2.5]) * NEWTONS[unit], rtol=1e-15)
    assert recording.layout.load.unit == unit


@pytest.mark.parametrize(
    ("unit", "seconds"), [("s", 1.0), ("ms", 1e-3), ("µs", 1e-6), ("us", 1e-6), ("min", 60.0), ("h", 3600.0)]
)
def test_units_of_time(unit: str, seconds: float) -> None:
    recording = read(f"Time [{unit}];Load [N]\n0;1\n250;2\n")

    np.testing.assert_allclose(recording.time_s, [0.0, 250 * seconds], rtol=1e-15)


def test_preamble_unit_row_and_extension() -> None:
    """What a testing machine writes above its columns is skipped, and the extension is found."""
    text = "Operator;A. N.\nDate;2026-05-03\n\nZeit;Standardkraft;Weg\ns;N;mm\n0;0,5;0\n0,01;1;0,002\n"

    recording = read(text)

    assert recording.extension_m is not None
    np.testing.assert_allclose(recording.extension_m, [0.0, 2e-6], rtol=1e-15)
    assert recording.layout.header_rows == 5
    assert recording.layout.load.name == "Standardkraft [N]"


def test_counts_keep_both_rails() -> None:
    recording = read("time/ms\tcounts\n0\t8388607\n12\t-8388608\n")

    assert recording.load_n is None
    assert recording.counts is not None
    assert recording.counts.dtype == np.int32
    assert recording.counts.tolist() == [8388607, -8388608]


def test_forces_are_preferred_to_counts_and_a_column_can_be_chosen() -> None:
    text = "Time [s],Counts,Load [N]\n0,7,1.5\n1,8,2.5\n"

    assert read(text).layout.load.number == 3
    assert read(text, load_column="counts").counts is not None
    assert read(text, load_column=2, unit="counts").counts is not None


def test_without_headers_the_person_says_what_is_what() -> None:
    recording = read("0;1\n1;2\n", time_column=1, load_column=2, time_unit="ms", unit="lbf")

    assert recording.load_n is not None
    np.testing.assert_allclose(recording.load_n, [4.4482216152605, 8.896443230521], rtol=1e-14)
    np.testing.assert_array_equal(recording.time_s, [0.0, 0.001])


@pytest.mark.parametrize(
    ("row", "load"),
    [
        ("1.234,5", 1234.5),
        ("1.234.567", 1234567.0),
        ("1 234,5", 1234.5),
        ("1'234,5", 1234.5),
        ("1\u202f234,5", 1234.5),
        ("\u22121 234,5", -1234.5),
        ("1,5E3", 1500.0),
    ],
)
def test_thousands_that_can_only_be_thousands_are_read(row: str, load: float) -> None:
    recording = read(f"Time [s];Load [N]\n0,5;{row}\n1,5;{row}\n")

    assert recording.load_n is not None
    assert recording.load_n.tolist() == [load, load]


def test_quoted_fields_may_hold_the_separator() -> None:
    recording = read('"Time [s]","Load [kN]","Remark"\n"0,5","1,25","slack, then taut"\n"1,5","2,25",""\n')

    assert recording.load_n is not None
    assert recording.load_n.tolist() == [1250.0, 2250.0]


def test_blank_rows_are_skipped_and_told() -> None:
    recording = read("Time [s];Load [N]\n0;1\n\n1;2\n;\n2;3\n\n")

    assert recording.load_n is not None
    assert recording.load_n.tolist() == [1.0, 2.0, 3.0]
    assert recording.layout.skipped_rows == (3, 5)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(encoding: str) -> None:
    data = "Prüfzeit [µs];Prüfkraft [N]\r\n0;0,5\r\n100;1,5\r\n".encode(encoding)

    recording = parse_csv(data)

    np.testing.assert_array_equal(recording.time_s, [0.0, 1e-4])


def test_old_line_ends_and_spreadsheet_hint_row() -> None:
    recording = read("sep=;\rTime [s];F [N]\r0;0,5\r1;1\r")

    assert recording.load_n is not None
    assert recording.load_n.tolist() == [0.5, 1.0]


def test_a_mass_is_refused_with_the_force_that_is_meant() -> None:
    assert "kgf" in refused("Time [s],Load [kg]\n0,1\n1,2\n", UnitError)
    assert "tf" in refused("Time [s],Weight [t]\n0,1\n1,2\n", UnitError)
    with pytest.raises(UnitError, match="write lbf"):
        read("Time [s],Load\n0,1\n1,2\n", unit="lb")
    assert read("Time [s],Load [kg]\n0,1\n1,2\n", unit="kgf").layout.load.unit == "kgf"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Time [s],Load [N]\n0,1\n1,abc\n2,3\n", ['row 3, column "Load [N]"', '"abc"']),
        ("Time [s],Load [N]\n0,1\n1,inf\n2,3\n3,4\n", ["row 3", '"inf"']),
        ("Time [s],Load [N]\n0,1\n1,1e999\n2,3\n3,4\n", ["row 3", '"1e999"']),
        ("Time [s],Load [N]\n0,1\n1,1e400\n2,3\n3,4\n", ["row 3", '"1e400"']),
        ("Time [s],Load [N]\n0,1\n1,1_0\n2,3\n", ["row 3", '"1_0"']),
        ("Time [s],Load [N]\n0,1\n1,0x10\n2,3\n", ["row 3", '"0x10"']),
        ("Time [s],Load [N]\n0,1\n\n1,2\n0.5,3\n", ["row 5", "back from 1 to 0.5"]),
        ("Time [s],Load [N]\n0.1,1.5\n0.2,2.5,7\n0.3,3\n", ["row 3", "3 fields"]),
        ("Time [s],Load [N]\n0,oops\n1,2\n2,3\n", ["row 2", "--header-rows"]),
        ("Time [s];Load [N]\n0,5;1\n1;2.5\n1,5;3\n", ['"0,5" and "2.5"', "--decimal"]),
        ("Time [s];Load [N]\n1,000;1,234\n2,000;2,222\n", ['"1,000"', "--decimal"]),
        ("Time [s];Load [N]\n0,5;1\n1;2.500\n1,5;3\n", ["row 3", '"2.500"', "two ways"]),
        ("Time [s];Load [N]\n0,5;1.000,5\n1,5;1.00\n2,5;3\n", ["--decimal"]),
        ("Time [s],Load [N]\n0,1,12,5\n0,2,13,5\n", ["semicolons"]),
        ("0,001,12,5\n0,002,13,5\n", ["semicolons"]),
        ("0;1\n1;2\n", ["--time-column"]),
        ("Time [s];Load A [kN];Load B [kN]\n0;1;3\n1;2;4\n", ["--load-column", "Load A", "Load B"]),
        ("Time [s];Time [ms];Load [kN]\n0;1;3\n1;2;4\n", ["--time-column"]),
        ("Time [s];Colour\n0;1\n1;2\n", ["--load-column", '"Colour"']),
        ("Time [s];Load [kN]\n0;1\n", ["no two rows"]),
        ("", ["empty"]),
        ("\n\n", ["empty"]),
        ("Time [s];counts\n0;1\n1;2.5\n", ["row 3", "2.5"]),
        ("Time [s];counts\n0;1\n1;5000000000\n", ["row 3"]),
    ],
)
def test_broken_files_give_one_line_that_says_where(text: str, words: list[str]) -> None:
    line = refused(text, DataError)

    for word in words:
        assert word in line


@pytest.mark.parametrize(
    "data", [b"PK\x03\x04rest", b"\xff\xfeT\xd8", b"Time\x00;1\n0;1\n", bytes(range(256))]
)
def test_files_that_are_no_text_are_refused(data: bytes) -> None:
    refused(data, DataError)


def test_an_option_never_hides_a_factor_that_the_header_names() -> None:
    """A unit that contradicts the header is refused; the same unit, or a force for a mass, is not."""
    text = "Time [ms],Load [kN],Weg [mm]\n0,1,0\n1,2,0\n"

    assert "header says kN, --load-unit says kgf" in refused(text, UnitError, unit="kgf")
    assert "header says kN, --load-unit says counts" in refused(text, UnitError, unit="counts")
    assert "header says ms, --time-unit says s" in refused(text, UnitError, time_unit="s")
    assert "header says mm" in refused(text, UnitError, extension_column=3, extension_unit="m")
    assert read(text, unit="kN", time_unit="ms", extension_unit="mm").layout.load.unit == "kN"


def test_missing_units_are_asked_for() -> None:
    assert "--time-unit" in refused("Time,Load [N]\n0,1\n1,2\n", UnitError)
    assert "--load-unit" in refused("Time [s],Load\n0,1\n1,2\n", UnitError)
    assert "--load-unit" in refused("Time [s],Load [%]\n0,1\n1,2\n", UnitError)


def test_options_that_do_not_fit_the_file_are_refused() -> None:
    text = "Time [s],Load [N]\n0,1\n1,2\n"

    assert '"Kraft"' in refused(text, UsageError, load_column="Kraft")
    assert "1 to 2" in refused(text, UsageError, load_column=3)
    assert "both time and load" in refused(text, UsageError, load_column=1, time_column=1)
    with pytest.raises(UsageError, match="separator"):
        CsvOptions(separator="|")
    with pytest.raises(UsageError, match="header-rows"):
        CsvOptions(header_rows=-1)


def test_the_same_options_read_the_same_file_again() -> None:
    """A reading turned into options (as a session keeps it) reads the original again, exactly."""
    text = "Zeit;Kraft;Weg\n[ms];[kN];[mm]\n0,5;1;0\n1,5;2.000,5;0,1\n\n2,5;3;0,2\n"
    first = read(text)

    options = CsvOptions.from_dict(first.layout.as_options().to_dict())
    again = parse_csv(text.encode(), options=options)

    np.testing.assert_array_equal(again.time_s, first.time_s)
    np.testing.assert_array_equal(again.load_n, first.load_n)
    np.testing.assert_array_equal(again.extension_m, first.extension_m)
    assert again.layout.header_rows == first.layout.header_rows


def test_options_from_a_notes_file_are_checked() -> None:
    for data in ({"colour": "red"}, {"unit": 3}, {"header_rows": True}, {"unit": ["N"]}):
        with pytest.raises(UsageError):
            CsvOptions.from_dict(data)


def test_a_file_that_is_not_there(tmp_path) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(DataError, match=re.escape("none.csv: cannot be read")):
        read_csv(tmp_path / "none.csv")


def test_arrays_are_read_only() -> None:
    recording = read("Time [s],Load [N]\n0,1\n1,2\n")

    with pytest.raises(ValueError, match="read-only"):
        recording.time_s[0] = 1.0
