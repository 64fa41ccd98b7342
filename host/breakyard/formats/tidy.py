"""Tidy tables with a description beside them: a data package as any program and any reader may check it.

    pulls.csv                    one row per pull: who, what, under which conditions, what it bore
    curves/SESSION/RUN.csv       one row per sample
    photos/SESSION/...           pictures, without position
    codebook.md                  every column in words
    LICENCE.txt
    datapackage.json             the same for programs (Frictionless Data Package: specs.frictionlessdata.io)

Numbers are written so that they read back exactly. This module knows no files: texts and bytes by path come out.
"""

import csv
import io
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from breakyard.curve import LoadCurve
from breakyard.document import sha256_of
from breakyard.errors import UsageError
from breakyard.formats.spreadsheet import defused
from breakyard.units import FORCE_UNITS, force_unit

Kind = Literal["string", "number", "integer", "boolean", "date"]

LICENCES: Final[Mapping[str, tuple[str, str]]] = {
    "CC0-1.0": (
        "Creative Commons Zero 1.0",
        "https://creativecommons.org/publicdomain/zero/1.0/",
    ),
    "CC-BY-4.0": (
        "Creative Commons Attribution 4.0",
        "https://creativecommons.org/licenses/by/4.0/",
    ),
    "CC-BY-SA-4.0": (
        "Creative Commons Attribution Share-Alike 4.0",
        "https://creativecommons.org/licenses/by-sa/4.0/",
    ),
    "ODC-BY-1.0": (
        "Open Data Commons Attribution Licence 1.0",
        "https://opendatacommons.org/licenses/by/1-0/",
    ),
    "ODbL-1.0": (
        "Open Data Commons Open Database Licence 1.0",
        "https://opendatacommons.org/licenses/odbl/1-0/",
    ),
}
"""Licences for data, by their names in the SPDX list, with title and address."""

MARK: Final = "datapackage.json"
ABOUT: Final = ("codebook.md", "LICENCE.txt")
"""Files of a publication that are no data."""
_MEDIA: Final = {".csv": "text/csv", ".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png"}


@dataclass(frozen=True, slots=True)
class Field:
    """One column: its name with the unit in it, what kind of values it holds, and what it means."""

    name: str
    kind: Kind
    description: str

    def described(self) -> dict[str, str]:
        """The field of a Table Schema."""
        return {"name": self.name, "type": self.kind, "description": self.description}


@dataclass(frozen=True, slots=True)
class TidyTable:
    """A table with its columns; None is an empty cell."""

    name: str
    path: str
    fields: tuple[Field, ...]
    rows: Sequence[Sequence[Any]]
    key: tuple[str, ...] = ()
    title: str = ""

    def csv(self) -> bytes:
        """The table as CSV (RFC 4180, UTF-8)."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow([one.name for one in self.fields])
        for row in self.rows:
            writer.writerow([_cell(value) for value in row])
        return out.getvalue().encode()


def licence_named(name: str) -> str:
    """The spelling of a licence's name. Raises: UsageError."""
    for known in LICENCES:
        if name.strip().lower() == known.lower():
            return known
    raise UsageError(f'the licence "{name}" is not known here; use one of {", ".join(LICENCES)}')


def curve_table(curve: LoadCurve, *, name: str, path: str, unit: str, zero_n: float) -> TidyTable:
    """A load curve, counted from this zero. Raises: UnitError."""
    unit = force_unit(unit)
    columns: list[tuple[Field, np.ndarray[Any, Any]]] = [
        (Field("time_s", "number", "seconds from the first sample"), curve.time_s),
        (
            Field(f"load_{unit}", "number", f"load in {unit}, counted from the pull's own zero"),
            (curve.load_n - zero_n) / FORCE_UNITS[unit],
        ),
    ]
    if curve.extension_m is not None:
        columns.append((Field("extension_mm", "number", "extension in mm"), 1000.0 * curve.extension_m))
    if curve.counts is not None:
        columns.append((Field("counts", "integer", "the converter's own number"), curve.counts))
    usable = Field("usable", "boolean", "false: on the converter's limit, or spoilt; used for nothing")
    columns.append((usable, curve.usable))
    rows = zip(*(values.tolist() for _, values in columns), strict=True)
    return TidyTable(
        name, path, tuple(field for field, _ in columns), list(rows), title=f"Load curve of {curve.name}"
    )


def package(
    tables: Sequence[TidyTable],
    pictures: Mapping[str, bytes],
    *,
    title: str,
    description: str,
    licence: str | None,
    created: str,
) -> dict[str, bytes]:
    """Every file of the publication by its path; the same data give the same bytes.

    created: a date and time in ISO 8601. Raises: UsageError (a licence that is not known).
    """
    files = {table.path: table.csv() for table in tables} | dict(pictures)
    resources = [_of_table(table, files[table.path]) for table in tables]
    resources += [_of_picture(path, data) for path, data in pictures.items()]
    document: dict[str, Any] = {
        "profile": "data-package",
        "name": slug(title),
        "title": title,
        "description": description,
        "created": created,
    }
    if licence is not None:
        name = licence_named(licence)
        document["licenses"] = [{"name": name, "title": LICENCES[name][0], "path": LICENCES[name][1]}]
    document["resources"] = resources
    files[ABOUT[0]] = _codebook(tables, title, description).encode()
    files[ABOUT[1]] = _licence_text(licence).encode()
    files[MARK] = (json.dumps(document, indent=1, ensure_ascii=False) + "\n").encode()
    return files


def slug(text: str) -> str:
    """A name as data packages take it: small letters, digits and . _ - alone."""
    return re.sub(r"[^a-z0-9._-]+", "-", text.lower()).strip("-.") or "unnamed"


def _of_table(table: TidyTable, data: bytes) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "fields": [one.described() for one in table.fields],
        "missingValues": [""],
    }
    if table.key:
        schema["primaryKey"] = list(table.key)
    return {
        "name": table.name,
        "title": table.title or table.name,
        "path": table.path,
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(data),
        "hash": f"sha256:{sha256_of(data)}",
        "schema": schema,
    }


def _of_picture(path: str, data: bytes) -> dict[str, Any]:
    ending = path[path.rfind(".") :].lower()
    return {
        "name": slug(path.replace("/", "-")),
        "path": path,
        "format": ending.removeprefix("."),
        "mediatype": _MEDIA.get(ending, "application/octet-stream"),
        "bytes": len(data),
        "hash": f"sha256:{sha256_of(data)}",
    }


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value) if np.isfinite(value) else ""
    return defused(value) if isinstance(value, str) else str(value)


def _codebook(tables: Sequence[TidyTable], title: str, description: str) -> str:
    lines = [f"# {title}", "", description, ""]
    shapes: dict[tuple[Field, ...], list[TidyTable]] = {}
    for table in tables:
        shapes.setdefault(table.fields, []).append(table)
    for fields, members in shapes.items():
        named = (
            members[0].path if len(members) == 1 else f"{members[0].path} and {len(members) - 1} more like it"
        )
        lines += [f"## {named}", "", "| column | kind | meaning |", "|---|---|---|"]
        lines += [f"| {_plain(one.name)} | {one.kind} | {_plain(one.description)} |" for one in fields]
        lines.append("")
    return "\n".join(lines)


def _plain(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


def _licence_text(licence: str | None) -> str:
    if licence is None:
        return (
            "No licence is stated for these data: whoever wants to use them has to ask their owner.\n"
            "To state one: breakyard export ... --tidy --licence CC-BY-4.0\n"
        )
    name = licence_named(licence)
    return f"These data are under {LICENCES[name][0]} ({name}): {LICENCES[name][1]}\n"
