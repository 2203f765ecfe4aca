"""`sieveward journal`: verify the chain of the journal, or write it out."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from collector.cli.export import LAST_MS, moment
from collector.cli.says import EXIT_FAILED, Refused, say, say_error, say_json
from collector.store import StoreError
from collector.store.history import open_reader
from collector.store.journal import export as export_rows
from collector.store.journal import verify as verify_chain

app = typer.Typer(help="The append-only journal: who knew what, when.", no_args_is_help=True, rich_markup_mode=None)

Data = Annotated[Path, typer.Option("--data", metavar="DIR", help="The collector's data directory.")]


@app.command()
def verify(
    data: Data = Path("data"),
    head: Annotated[
        str | None, typer.Option(metavar="SEQ:HASH", help="A head noted earlier, to be found again.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object for a program to read.")] = False,
) -> None:
    """Check every row of the journal against its hash and the row before it.

    A tail that was cut off together with the stored head can be seen only against a head noted elsewhere: give it with
    --head. Example: sieveward journal verify --data data
    """
    expect = _head(head)
    try:
        result = verify_chain(open_reader(data), expect)
    except StoreError as error:
        raise Refused(str(error)) from error
    if as_json:
        say_json(result)
    elif result.broken_seq is None:
        say(f"the journal is whole: {result.rows} rows; head {result.head_seq}:{result.head_hash}")
    if result.broken_seq is not None:
        raise Refused(f"the journal is broken at row {result.broken_seq}: {result.reason}", EXIT_FAILED)


def _head(text: str | None) -> tuple[int, str] | None:
    if text is None:
        return None
    seq, colon, digest = text.partition(":")
    if not (colon and seq.isdigit() and digest):
        raise Refused(f"'{text}' is no head; write it as 1204:9f2c…, as verify printed it")
    return int(seq), digest


@app.command()
def export(
    data: Data = Path("data"),
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Where rows go; else to stdout.")] = None,
    since: Annotated[str | None, typer.Option("--from", help="From this moment on (RFC 3339).")] = None,
    until: Annotated[str | None, typer.Option("--to", help="Before this moment.")] = None,
) -> None:
    """Write the journal's rows, one JSON object a line.

    Example: sieveward journal export --data data --out journal.jsonl
    """
    from_ms, to_ms = moment(since, 0), moment(until, LAST_MS)
    try:
        conn = open_reader(data)
        if out is None:
            count = export_rows(conn, sys.stdout.buffer, from_ms, to_ms)
        else:
            with out.open("wb") as file:
                count = export_rows(conn, file, from_ms, to_ms)
    except (StoreError, OSError) as error:
        raise Refused(str(error)) from error
    say_error(f"{count} rows")
