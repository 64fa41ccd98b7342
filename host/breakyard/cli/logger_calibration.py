"""breakyard logger calibration: the copy of a calibration that a logger keeps, for whoever shows force."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from breakyard.cli.options import LinkOption
from breakyard.cli.output import JsonOption, Output
from breakyard.cli.running import run_async
from breakyard.device.reach import reach_way

if TYPE_CHECKING:
    from breakyard.wire.records import CalibrationCopy


def command(
    store: Annotated[
        Path | None, typer.Option(help="Calibration file to store; without it the kept one is only read.")
    ] = None,
    link: LinkOption = "ble",
    as_json: JsonOption = False,
) -> None:
    """Read or write its copy of a calibration, for telephones.

    The copy names the whole calibration by its hash; forces are still computed from counts and the calibration
    file.

    Example: breakyard logger calibration --store slipway/calibrations/weights.json --link usb
    """
    from breakyard.calibration.device_copy import record_for_device
    from breakyard.session.in_force import load_calibration

    wanted = None if store is None else record_for_device(load_calibration(store, None, store.name))

    async def do() -> "CalibrationCopy | None":
        async with reach_way(link) as client:
            if wanted is not None:
                await client.store_calibration(wanted)
            return await client.read_calibration()

    kept = run_async(do())
    out = Output(as_json)
    out.document(
        {"schema": "breakyard.logger.calibration/1", "kept": None if kept is None else _document(kept)}
    )
    if kept is None:
        out.say("the logger keeps no calibration")
    else:
        out.say(f"{kept.name}, hash {kept.sha256.hex()}")


def _document(kept: "CalibrationCopy") -> dict[str, Any]:
    return {
        "name": kept.name,
        "hash": kept.sha256.hex(),
        "highest_known_n": kept.highest_known_n,
        "centre_counts": kept.centre_counts,
        "scale_counts": kept.scale_counts,
        "coefficients_n": [kept.c0_n, kept.c1_n, kept.c2_n, kept.c3_n],
    }
