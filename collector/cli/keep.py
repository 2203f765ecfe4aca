"""`sieveward keep` and `sieveward restore`: safe copies of the store, made while it is in use, and put back."""

from __future__ import annotations

import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Annotated

import msgspec
import typer

from collector.cli.known import facility_now_ms
from collector.cli.says import EXIT_FAILED, Refused, progress, say, say_error, say_json
from collector.reading import iso_utc
from collector.safekeeping import (
    KeepingError,
    Kept,
    Rotation,
    Wish,
    copies_in,
    keep_copy,
    prove_copy,
    restore_copy,
)
from collector.safekeeping.told import tell_failed, tell_kept
from collector.store import StoreError
from collector.store.connect import store_path
from collector.store.history import open_reader

app = typer.Typer(
    help="Safe copies of the store, on another disk: made while the collector runs, proven, dated, thinned out.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Data = Annotated[Path, typer.Option("--data", metavar="DIR", help="The collector's data directory.")]
Folder = Annotated[
    Path, typer.Option("--to", metavar="FOLDER", help="Where copies are kept: a folder on another disk.")
]
Json = Annotated[bool, typer.Option("--json", help="One JSON object for a program to read.")]


def wall_now_ms() -> int:
    """The machine's clock."""
    return time.time_ns() // 1_000_000


@app.command("now")
def now_command(
    folder: Folder,
    data: Data = Path("data"),
    daily: Annotated[int, typer.Option(min=1, help="Days whose last copy stays.")] = 7,
    weekly: Annotated[int, typer.Option(min=0, help="Weeks whose last copy stays.")] = 5,
    monthly: Annotated[int, typer.Option(min=0, help="Months whose last copy stays.")] = 12,
    same_disk: Annotated[
        bool, typer.Option("--same-disk", help="Keep them on the data's own disk all the same.")
    ] = False,
    secrets: Annotated[
        Path | None, typer.Option(metavar="DIR", help="A folder of keys and accounts to go along, unencrypted.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Make one copy, prove it, and let older ones go.

    In it: the store (readings, journal, accounts as hashes) and the site file. Not in it: keys and passwords, unless
    --secrets asks for them; what a broker still holds. Example: sieveward keep now --data data --to /media/copies
    """
    rotation = Rotation(daily=daily, weekly=weekly, monthly=monthly)
    wish = Wish(data=data, folder=folder, rotation=rotation, same_disk=same_disk, secrets=secrets)
    try:
        kept = _kept(wish)
    except KeepingError as error:
        with suppress(StoreError):  # what is wrong with the store may be why there is no copy
            tell_failed(data, folder, str(error), wall_now_ms(), _at_ms(data))
        raise Refused(str(error), EXIT_FAILED) from error
    if as_json:
        say_json({**msgspec.to_builtins(kept.manifest), "folder": str(kept.folder), "dropped": list(kept.dropped)})
        return
    held = kept.manifest
    say(f"{kept.folder} is good: {held.readings:,} readings of {held.units} units, journal to row "
        f"{held.head_seq}:{held.head_hash}, {kept.packed_bytes / 1e6:.1f} MB")  # fmt: skip
    for name in kept.dropped:
        say(f"  let go: {name}")


def _kept(wish: Wish) -> Kept:
    store = store_path(wish.data)
    total = store.stat().st_size if store.exists() else None
    with progress("bytes copied", total) as shown:
        kept = keep_copy(wish, wall_now_ms(), shown)
    try:
        tell_kept(wish.data, kept, wall_now_ms(), _at_ms(wish.data))
    except StoreError as error:
        say_error(f"the copy is good, but could not be written down: {error}")
    return kept


def _at_ms(data: Path) -> int:
    conn = open_reader(data)
    try:
        return facility_now_ms(conn)
    finally:
        conn.close()


@app.command("list")
def list_command(folder: Folder, as_json: Json = False) -> None:
    """Show the copies in a folder, newest first.

    Example: sieveward keep list --to /media/copies
    """
    if not folder.is_dir():
        raise Refused(f"{folder} is not there. Plug the disk in and mount it.")
    found = copies_in(folder)
    if as_json:
        say_json([msgspec.to_builtins(manifest) for _, manifest in found])
        return
    for path, held in found:
        say(f"{path}  {held.made}  {held.readings:,} readings of {held.units} units, journal to row {held.head_seq}")
    if not found:
        say("no copies")


@app.command("verify")
def verify_command(
    copy: Annotated[Path, typer.Argument(metavar="COPY", help="One copy's folder.")],
    work: Annotated[Path | None, typer.Option(metavar="DIR", help="Where it is unpacked meanwhile.")] = None,
) -> None:
    """Prove a copy: its sums, its pages, its journal's chain, its counts.

    Example: sieveward keep verify /media/copies/sieveward-lakeside-20261003T020000Z
    """
    try:
        with tempfile.TemporaryDirectory(dir=work) as room, progress("bytes unpacked") as shown:
            held = prove_copy(copy, Path(room), shown)
    except OSError as error:
        raise Refused(f"{work} cannot be worked in ({error.strerror}); name another folder with --work") from error
    except KeepingError as error:
        raise Refused(str(error), EXIT_FAILED) from error
    say(f"{copy} is good: {held.readings:,} readings of {held.units} units up to {held.made}")


def restore(
    copy: Annotated[Path, typer.Argument(metavar="COPY", help="One copy's folder, as `keep list` shows it.")],
    data: Annotated[Path, typer.Option("--data", metavar="NEWDIR", help="A data directory that does not exist yet.")],
    who: Annotated[str, typer.Option(help="Your name, for the journal.")] = "",
    secrets: Annotated[
        Path | None, typer.Option(metavar="NEWDIR", help="Where the copy's keys and accounts go, if it holds any.")
    ] = None,
) -> None:
    """Put a safe copy back into a new data directory; what is there now is never written over.

    The journal goes on after its last row with one that says so. Whoever was signed in must sign in again.
    Example: sieveward restore /media/copies/sieveward-lakeside-20261003T020000Z --data data-restored
    """
    try:
        with progress("bytes unpacked") as shown:
            back = restore_copy(copy, data, wall_now_ms(), who, secrets, shown)
    except KeepingError as error:
        raise Refused(str(error), EXIT_FAILED) from error
    held = back.manifest
    say(f"{data} holds '{held.facility}' as of {iso_utc(held.made_ms)}: {held.readings:,} readings of {held.units} "
        f"units; the journal goes on at row {back.head_seq}:{back.head_hash}")  # fmt: skip
    say("What was stored after that moment is not in it.")
    if back.wall_links:
        say(f"{back.wall_links} wall links are valid as they were then: withdraw those that should not be.")
    if back.site_file:
        say(f"The site file of that moment: {back.site_file}")
