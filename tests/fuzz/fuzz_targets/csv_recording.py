"""Recordings of other instruments, tables of calibration points: numbers that are in the file, or one clear line."""

import numpy as np

from breakyard.errors import BreakyardError
from breakyard.formats.read_csv import parse_csv
from breakyard.formats.read_points import parse_points
from breakyard.formats.recording import CsvOptions
from fuzz_targets.feeding import Cursor

MAX_LEN = 300
OPTIONS = (
    None,
    CsvOptions(time_column=1, load_column=2, time_unit="s", unit="N"),
    CsvOptions(time_column=1, load_column=2, time_unit="ms", unit="counts", separator=";", decimal=","),
    CsvOptions(header_rows=1, unit="kgf"),
)


def seeds():
    texts = (
        "Time [s],Force [N]\n0,1\n0.1,2\n0.2,3.5\n",
        "Zeit [ms];Kraft [kN];Weg [mm]\n0;1,5;0\n10;2,5;1\n20;1.000,25;2\n",
        "t\tcounts\n0\t1\n1\t-8388608\n2\t3\n",
        '"Time (s)","Load (lbf)"\r\n"0","1,234.5"\r\n"1","2"\r\n',
        "preamble\n\nTime,Load\ns,kgf\n0,1\n,\n1,2\n\n",
        "Load,Counts\n0,1204\n20 kg,169350\n",
        "Force [N];Uncertainty [%];Counts;Counts standard\n0;0,1;12;1\n100,5;0,1;4000;2\n",
        "Mass [kg],Counts\n0,1\n3 x 20 kg,5e3\n",
        "00:01;5\n00:02;6\n",
        "0,1e308\n1,1e309\n",
        "Time,Load [N]\n2026-05-03T10:00:00.5Z,1\n2026-05-03T10:00:01Z,2\n2026-05-03 10:00:01+01:00,3\n",
        "Zeit;Kraft N\n31.12.2026 23:59:59,5;1\n1.1.2027 00:00:00,25;2\n",
        "Time,lbf\n1:00:00 PM,1\n13:00.5,2\n11:59:59 AM,\n",
        "  t [ms]   F [N]\n 1   2.5\n 1   3.5\n 12  nan\n 24  4.5\nend\n",
        "Time [s],Time [ms],Load [N],Load [kgf],\n0,0,1,0.1,\n1,1000,9.8,1,\n2,2000,19.6,2,\n",
        "micros,counts\n4294967000,16777215\n200,0\n600,16777000\n",
    )
    found = [bytes([option]) + text.encode() for text in texts for option in range(len(OPTIONS))]
    return [
        *found,
        b"\0" + "Time [s],Force [N]\n0,1\n1,2\n".encode("utf-16"),
        b"\0PK\x03\x04",
        b"\1\xef\xbb\xbf0;1\n1;2",
    ]


def try_one(data):
    cursor = Cursor(data)
    options = OPTIONS[cursor.number() % len(OPTIONS)]
    text = cursor.rest()
    try:
        recording = parse_csv(text, name="x", options=options)
    except BreakyardError as error:
        _one_line(error)
    else:
        assert (np.diff(recording.time_s) > 0).all()
        assert np.isfinite(recording.time_s).all()
        values = recording.load_n if recording.load_n is not None else recording.counts
        assert np.isfinite(values).all()
        assert len(values) <= len(text)
        again = parse_csv(text, name="x", options=recording.layout.as_options())
        assert np.array_equal(again.time_s, recording.time_s)
        assert np.array_equal(again.load_n if recording.load_n is not None else again.counts, values)
        assert recording.layout.sentence()
    try:
        points = parse_points(text)
    except BreakyardError as error:
        _one_line(error)
    else:
        assert all(np.isfinite(point.counts) for point in points)


def _one_line(error):
    assert str(error)
    assert not {"\n", "\r"} & set(str(error)) or "\\" in repr(str(error))
