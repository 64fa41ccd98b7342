"""Every file of a session and every key in them: what people find explained in the files, and what may stand there.

The one list from which comments in new files, FILES.txt, the check for unknown keys and host/session_files.md follow.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from textwrap import wrap
from typing import Final

from breakyard.errors import DataError

NEAR: Final = {"key": 0.66, "column": 0.75}
"""How alike (difflib's ratio) a name must be to a known one to be taken for a slip; columns of one's own are usual."""


@dataclass(frozen=True, slots=True)
class Key:
    """A key of a TOML file, or a column: an example as written, and what it means.

    `ours`: commands write it. `family`: what such names begin with, where the unit is a part of the name.
    """

    name: str
    example: str
    meaning: str
    ours: bool = False
    family: str = ""

    def called(self, name: str) -> bool:
        """Whether a name is this key."""
        return name == self.name or (bool(self.family) and name.lower().startswith(self.family))


@dataclass(frozen=True, slots=True)
class SessionFile:
    """A file or folder of a session, as a path in it, and what it is. `yours`: made to be edited."""

    path: str
    meaning: str
    yours: bool = False


FILES: Final = (
    SessionFile(
        "session.toml", "Where and with what it was done, and the unit that loads are shown in.", yours=True
    ),
    SessionFile(
        "specimens.csv", "What is broken: a row for each specimen, made for a spreadsheet.", yours=True
    ),
    SessionFile("FILES.txt", "This list, for whoever opens the folder."),
    SessionFile(
        "runs/NAME.run", "What the logger recorded in one pull, byte for byte; written once, never changed."
    ),
    SessionFile("runs/NAME.csv", "Another instrument's recording as it came; written once, never changed."),
    SessionFile("runs/NAME.toml", "What is said of a recording: its specimen, notes, photos.", yours=True),
    SessionFile("runs/NAME.series.csv", "Lengths or remarks beside a pull; breakyard attach keeps them."),
    SessionFile("runs/NAME.part", "A run that is not wholly fetched yet; the same command goes on with it."),
    SessionFile(
        "calibrations/NAME.json", "A calibration with its points, their doubt and its hash; never changed."
    ),
    SessionFile(
        "photos/SPECIMEN/1.jpg",
        "Pictures of a specimen without place, time and camera; breakyard photo keeps them.",
    ),
    SessionFile("checks/LOGGER.csv", "Check weighings of a logger, one a row, made for a spreadsheet."),
    SessionFile("checks/LOGGER.in_use.json", "What remounts and a long hold showed of its cell."),
    SessionFile("responses/LOGGER.json", "How its converter was measured to answer a sudden step."),
    SessionFile("results/", "Summaries, pictures, report: may be deleted, the commands make them again."),
)

CONDITIONS: Final = (
    Key(
        "temperature_C",
        "12",
        "Temperature of the cell; also temperature_F. The nearest to the pull counts.",
        family="temperature",
    ),
    Key(
        "misalignment_deg",
        "2",
        "Largest angle between the line of pull and the cell's axis.",
        family="misalignment",
    ),
    Key(
        "pull_speed_mm_min",
        "300",
        "Speed of pulling, its unit in the name: pull_speed_mm_s, pull_speed_m_min.",
        family="pull_speed",
    ),
)
"""Of the pulls: in runs/NAME.toml for one, in specimens.csv for a specimen, in session.toml for all."""

PROOF: Final = (
    Key(
        "proof_load",
        '"500 kgf"',
        "Load to be held; in specimens.csv with its unit in the cell or in the name, as proof_load_kgf.",
        family="proof_load",
    ),
    Key("proof_s", "60", "For how long it is to be held, in seconds."),
)
"""Asked of the pulls, in the same three files; breakyard proof tells whether they held it."""

SESSION_KEYS: Final = (
    Key("place", '"slipway"', "Where it was; the report's title."),
    Key("date", "2026-05-03", "Day of the pulls."),
    Key("unit", '"kgf"', "Unit that loads are shown in: N, daN, kN, kgf, tf, lbf or kip."),
    Key(
        "latitude_deg",
        "54.3",
        "Latitude of the place: gravity, and with it known masses, differ by 0.5 % over the earth.",
    ),
    Key("height_m", "12", "Height above the sea, for the same reason."),
    Key("logger", '"slipway logger"', "Which logger or instrument recorded."),
    Key("calibration", '"weights"', "The calibration to use, where there are several in calibrations/."),
    Key("notes", '"wind from the west"', "Anything worth knowing; the report shows it."),
    Key(
        "rig",
        '"van, 6 m line, block"',
        "The rig in a sentence; or as a table [rig], which breakyard rig writes and checks.",
    ),
    Key("cell", "", "Table [cell]: what the cell's plate says; calibrate takes it from here."),
    Key("line", "", "Table [line]: what lies between cell and specimen; see its own keys below."),
    *CONDITIONS,
    *PROOF,
    Key("made_by", '"breakyard-demo"', "Says that the demo made the folder, and may replace it.", ours=True),
)
"""Of session.toml."""

CELL_KEYS: Final = (
    Key("capacity", '"1000 kgf"', "Capacity on the plate."),
    Key("rated_output_mv_v", "2.0", "Rated output on the plate, in mV/V."),
    Key("nonlinearity_percent", "0.03", "Non-linearity, in percent of the capacity, as are the next four."),
    Key("hysteresis_percent", "0.03", "Hysteresis."),
    Key("repeatability_percent", "0.02", "Repeatability."),
    Key("zero_return_percent", "0.02", "Zero return after a full load."),
    Key("creep_percent", "0.03", "Creep in 30 minutes."),
    Key("span_percent_per_c", "0.002", "Temperature effect on the span, in percent per degree C."),
)
"""Of the table [cell] in session.toml."""

LINE_KEYS: Final = (
    Key("lever", "2.5", "Load at the specimen over that at the cell, by the lever's arms."),
    Key("lever_pm", "0.02", "Limit of the ratio either way; default: 1 % of it."),
    Key("legs", "2", "Legs that share the load."),
    Key("angle_deg", "60", "Angle between opposite legs, in degrees."),
    Key("angle_pm_deg", "3", "Limit of the angle either way."),
    Key(
        "specimen_is", '"a leg"', 'What the specimen is: "a leg", the cell being in the line, or "the line".'
    ),
    Key("falls", "2", "Falls of a tackle between the cell, in the hauled end, and the specimen."),
    Key("efficiency", "0.93", "Share of a rope's load that each sheave passes on."),
    Key("efficiency_pm", "0.05", "Limit of that share either way."),
    Key("direction", '"hauling"', 'Whether the load was put on by "hauling" or by "lowering".'),
)
"""Of the table [line] in session.toml or runs/NAME.toml; lever and lever_pm may also be columns of specimens.csv."""

NOTES_KEYS: Final = (
    Key("specimen", '"A1"', "Which specimen was pulled: its id in specimens.csv."),
    Key("specimens", '["A1", "A2"]', "The specimens of several pulls in one recording, in their order."),
    Key("notes", '"bolt bent first"', "Anything worth knowing; the report shows it."),
    Key(
        "photos", '["A1.jpg"]', "Pictures beside this file or in the session's folder; the report shows them."
    ),
    Key("outcome", '"broke at the weld"', "How it ended, as seen."),
    *CONDITIONS,
    *PROOF,
    Key(
        "protocol",
        '"10 x 20..300 kgf, then break"',
        "Cycles that one specimen was to go through; the recording is then one pull.",
    ),
    Key("line", "", "Table [line], where it was another than that of session.toml."),
    Key("series", "", "Table [series]: lengths beside the pull; written by attach.", ours=True),
    Key(
        "purpose",
        '"calibration"',
        'What it was recorded for ("weighing" too); only a "pull" (the default) is read as one.',
    ),
    Key(
        "zero", '"instrument"', "Where the zero is: instrument, start or end; default: judged from all three."
    ),
    Key("one_specimen", "true", "All pulls in the recording are of one specimen."),
    Key(
        "converter",
        '"hx711-128"',
        "What made the counts of an imported recording: hx711-128, hx711-64, hx711-32, unknown, or by bits, full scale "
        'and filter, as "24 bits, 20 mV/V, sinc 3", "12 bits unsigned, no filter", "500000 counts, filter unknown".',
    ),
    Key(
        "clips",
        "",
        "Tables [[clips]]: films of the pull, and which moment of each is which of the run; written by video.",
        ours=True,
    ),
    Key("import", "", "Table [import]: how an imported recording was read.", ours=True),
)
"""Of runs/NAME.toml."""

IMPORT_KEYS: Final = (
    Key("original_name", '"pull7.csv"', "What the file was called.", ours=True),
    Key("sha256", '"9f86..."', "Hash of the original, by which a change of it is noticed.", ours=True),
    Key("accuracy", "0.005", "Standard uncertainty of the instrument, as a fraction of the load."),
    Key("time_column", "1", 'Number of the column of times, from 1, or "none".', ours=True),
    Key("load_column", "2", "Number of the column of loads.", ours=True),
    Key("extension_column", "3", 'Number of the column of extensions, or "none".', ours=True),
    Key("time_unit", '"s"', "Unit of the times.", ours=True),
    Key("unit", '"kN"', 'Unit of the loads, or "counts".', ours=True),
    Key("extension_unit", '"mm"', "Unit of the extensions.", ours=True),
    Key("separator", '";"', "What stands between the columns.", ours=True),
    Key("decimal", '","', "The decimal mark.", ours=True),
    Key("header_rows", "2", "Rows above the numbers.", ours=True),
    Key("rate", '"50"', "Readings a second, of a file without times.", ours=True),
)
"""Of the table [import] in runs/NAME.toml."""

SPECIMEN_COLUMNS: Final = (
    Key(
        "id", "A1", "What it is called; the recording of its pull has the same name, or says it in its notes."
    ),
    Key("group", "bonded", "What is compared with the other groups."),
    Key("order", "3", "Its place in the order of pulling; breakyard design draws one."),
    Key("mass_kg", "0.25", "Its mass, if loads are compared per gram; or in grams in a column mass_g."),
    Key("notes", "second coat of glue", "Anything worth knowing; the report shows it."),
    Key("same_as", "june/S3", "The same specimen in another session, or another row here: it counts once."),
    *CONDITIONS,
    *PROOF,
)
"""Of specimens.csv; any other column is your own (a price, an area), and loads can be divided by it."""


def unread_keys(names: Iterable[str], known: Sequence[Key], where: str) -> tuple[str, ...]:
    """A sentence for each name that is no key: kept, but read by nothing."""
    return tuple(
        f'{where}: "{name}" is kept, but nothing reads it; there is {", ".join(key.name for key in known)}'
        for name in names
        if not any(key.called(name) for key in known)
    )


def refuse_slips(names: Iterable[str], known: Sequence[Key], where: str, what: str = "key") -> None:
    """Refuse a name that is meant for a key which is missing beside it. Raises: DataError with the right one."""
    names = tuple(names)
    missing = [key.name for key in known if not any(key.called(name) for name in names)]
    for name in names:
        if any(key.called(name) for key in known):
            continue
        if meant := get_close_matches(name.lower().strip(), missing, 1, NEAR[what]):
            raise DataError(f'{where}: unknown {what} "{name}"; did you mean {meant[0]}?')


def explained(keys: Iterable[Key], skip: Iterable[str] = ()) -> str:
    """Commented lines for a TOML file: what each key means, and an example that says nothing until its # goes."""
    lines = []
    for key in keys:
        if key.name not in set(skip) and not key.ours and key.example:
            lines += [f"# {key.meaning}", f"# {key.name} = {key.example}"]
    return "\n".join(lines) + "\n" if lines else ""


def files_text() -> str:
    """FILES.txt: what each file of the folder is, and what may stand in those that people edit."""
    parts = ["What is in this folder (a session of breakyard: one outing)", ""]
    for file in FILES:
        parts += _entry(file.path, file.meaning + (" Yours to edit." if file.yours else ""))
    tables = (
        ("Keys of session.toml", SESSION_KEYS),
        ("Keys of its table [cell]", CELL_KEYS),
        ("Columns of specimens.csv (others are your own)", SPECIMEN_COLUMNS),
        ("Keys of runs/NAME.toml", NOTES_KEYS),
        ("Keys of its table [import], written by breakyard import", IMPORT_KEYS),
    )
    for title, keys in tables:
        parts += ["", title, ""]
        for key in keys:
            example = f" As in: {key.example}" if key.example else ""
            parts += _entry(key.name, key.meaning + example)
    return "\n".join(parts) + "\n"


def _entry(name: str, meaning: str) -> list[str]:
    return wrap(meaning, 96, initial_indent=f"  {name.ljust(26)} ", subsequent_indent=" " * 29)
