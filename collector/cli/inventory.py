"""`sieveward inventory`: every unit on record, as CSV or as FHIR R5."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Final

import typer

from collector.cli.known import known
from collector.cli.says import EXIT_FAILED, Refused, say_error
from collector.cli.tables import write_csv
from collector.rules import entries
from collector.service.fhir import bundle
from collector.service.inventory import Holding, inventory

KINDS: Final = (entries.PURITY_PROOF, entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE)


def inventory_command(
    out: Annotated[Path, typer.Option(metavar="FILE", help="A .csv file, or a .json file for FHIR R5.")],
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    site_file: Annotated[
        Path | None, typer.Option("--site", metavar="SITE.toml", help="Else the site file the collector last read.")
    ] = None,
) -> None:
    """Write every unit on record: CSV for a register, or FHIR R5 Device, DeviceMetric and Location in one JSON file.

    Example: sieveward inventory --data data --out inventory.csv
    """
    if out.suffix not in (".csv", ".json"):
        raise Refused(f"'{out}' is neither .csv nor .json; the file's ending says what to write")
    with known(data, site_file) as now:
        held = inventory(now.site, now.rows(kinds=KINDS), now.units)
    try:
        if out.suffix == ".csv":
            write_csv(out, Holding, held)
        else:
            out.write_text(json.dumps(bundle(now.site, held, now.units, now.now_ms), indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise Refused(f"{out} cannot be written: {error.strerror}", EXIT_FAILED) from error
    say_error(f"{len(held)} units written to {out}")
