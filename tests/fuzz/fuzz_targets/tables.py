"""Tables that people keep in a spreadsheet: specimens, checks. Written again they read the same."""

import math

from breakyard.errors import BreakyardError
from breakyard.session.files.checks import checks_text, read_checks
from breakyard.session.files.specimens import parse_specimens, read_specimens, specimens_text
from fuzz_targets.feeding import Cursor
from fuzz_targets.places import scratch

MAX_LEN = 400
CHECKS = (
    "when_utc,hung,known_n,shown_n,difference_n,allowed_n,verdict,zero_counts,loaded_counts,source,logger,calibration\r\n"
    "2026-05-03T08:00:00Z,20 kg,196.1,196.0,-0.1,0.5,holds,12.0,169350.0,a.run,1a2b,ff00\r\n"
)


def seeds():
    texts = (
        "id,group,order,mass_kg,notes\r\na-1,bonded,1,0.25,\r\na-2,bonded,2,,glue thin\r\n",
        "id;group;mass [g]\na;b;2,5\n",
        'id\tmass\tcolour\n"a\tb"\t250 g\tred\n',
        "ID,Order\n1,\u0663\n2,5\n",
    )
    return [b"\0" + text.encode() for text in texts] + [
        b"\1" + CHECKS.encode(),
        b"\1" + CHECKS.replace(",", ";").encode(),
    ]


def try_one(data):
    cursor = Cursor(data)
    checks = cursor.number() & 1
    content = cursor.rest()
    path = scratch("table.csv")
    path.write_bytes(content)
    if checks:
        try:
            found = read_checks(path)
            assert all(math.isfinite(one.known_n - one.zero_counts - one.loaded_counts) for one in found)
            path.write_bytes(checks_text(found).encode("utf-8-sig"))
            assert len(read_checks(path)) == len(found)
        except BreakyardError:
            pass
        return
    try:
        specimens = read_specimens(path)
    except BreakyardError as error:
        assert str(error)
        return
    for separator in ",;\t":
        again = parse_specimens(specimens_text(specimens, separator), "x")
        assert [one.id for one in again] == [one.id for one in specimens]
        assert [(one.order, one.mass_kg) for one in again] == [(one.order, one.mass_kg) for one in specimens]
