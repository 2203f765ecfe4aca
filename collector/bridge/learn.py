"""Lines of an unknown device to a proposed profile. Pure; whatever is proposed is a guess, and says so.

The shape of the lines is found first (JSON, key=value, columns, a pattern), with a checksum taken off before; then each
value gets a reading's field by its name, or, where it has none, by what it could only be. What cannot be told is listed
for people to decide.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from typing import Final, NamedTuple

import msgspec

from collector.bridge.checksum import SUMS
from collector.bridge.framing import LONGEST_FRAME, MAX_BYTES
from collector.bridge.guess import Value, guess_field
from collector.bridge.patterns import compile_pattern
from collector.bridge.profile_tables import LONGEST_PATTERN, MOST_COLUMNS
from collector.reading import QUANTITIES

_DELIMITERS: Final = (";", "\t", "|", ",")
_EQUALS: Final = ("=", ":")
_SUM: Final = re.compile(rb"(.*)([*#~;,])([0-9A-Fa-f]{2}|[0-9A-Fa-f]{4})")
_UNSEEN: Final = re.compile(r"[^\t -~]", re.ASCII)  # what no text of people holds, and no TOML file
_KEY: Final = re.compile(r"[A-Za-z_][\w. /%-]{0,30}", re.ASCII)
_NUMBER: Final = re.compile(r"[+-]?\d+(?:\.\d+)?", re.ASCII)
_ALONE: Final = re.compile(r"(?<![A-Za-z0-9.])" + _NUMBER.pattern, re.ASCII)  # the 2 of "O2" is no number
#: What share of the lines must fit a shape.
_MOST: Final = 0.6


class Shape(NamedTuple):
    """How lines are built: the profile's first keys, and the values found, each with where it is from."""

    head: tuple[str, ...]
    values: tuple[Value, ...]


def propose(raw: Sequence[bytes]) -> str:
    """The text of a profile for lines as they came; ValueError when nothing can be made out."""
    lines, sums = _without_checksum([line for line in raw if line.strip() and len(line) <= LONGEST_FRAME])
    if (longest := max(map(len, raw), default=0)) > MAX_BYTES - 2:
        sums = (*sums, "", "[framing]", f"max_bytes = {min(2 * longest, LONGEST_FRAME)}")
    texts = [_UNSEEN.sub("?", line.decode("ascii", "replace").strip("\r\n")) for line in lines]
    for find in (_json, _key_value, _delimited, _fixed_width, _pattern):
        if texts and (shape := find(texts)) and shape.values:
            return _toml(shape, sums, texts)
    raise ValueError("no numbers could be made out in what was heard; is the baud rate right?")


def _toml(shape: Shape, sums: tuple[str, ...], texts: Sequence[str]) -> str:
    taken: set[str] = set()
    fields, rest = [], []
    for value in shape.values:
        guess = guess_field(value, taken)
        if guess is None:
            rest.append(f"# also on the line: {value.source} = {', '.join(map(_seen, value.texts[:3]))}")
            continue
        taken.add(guess.field)
        fields += ["", f"[field.{guess.field}]", f"from = {value.source}{guess.note}", *guess.keys]
    if not taken & {*QUANTITIES, "lamp"}:
        value = shape.values[0]
        fields += ["", "[field.purity_pct]", f"from = {value.source}  # which one is purity? This is only the first",
                   'in = "%"']  # fmt: skip
    about = msgspec.json.encode(texts[0][:100]).decode()
    head = ["# Proposed from what was heard. Check every line of it, above all the units.", *shape.head,
            f"about = {about}"]  # fmt: skip
    return "\n".join([*head, *sums, *fields, *([""] if rest else []), *rest]) + "\n"


def _without_checksum(raw: Sequence[bytes]) -> tuple[list[bytes], tuple[str, ...]]:
    """Lines without the checksum that all of them carry, and how the profile says it; the lines as they are without."""
    found = [_SUM.fullmatch(line.strip(b"\r\n")) for line in raw]
    matches = [match for match in found if match]
    if len(matches) < len(raw) or len(raw) < 2:
        return list(raw), ()
    for kind, (make, width) in SUMS.items():
        for skip in (0, 1):
            if all(_is_sum(make, width, match, skip) for match in matches):
                after = matches[0][2].decode()
                keys = (
                    "",
                    "[checksum]",
                    f'kind = "{kind}"',
                    f'after = "{after}"',
                    *([f"skip = {skip}"] if skip else []),
                )
                return [match[1] for match in matches], keys
    return list(raw), ()


def _is_sum(make: Callable[[bytes], int], width: int, match: re.Match[bytes], skip: int) -> bool:
    return len(match[3]) == 2 * width and int(match[3], 16) == make(match[1][skip:])


def _json(texts: Sequence[str]) -> Shape | None:
    documents = []
    for text in texts:
        try:
            documents.append(msgspec.json.decode(text, type=dict[str, object]))
        except (msgspec.DecodeError, RecursionError):
            continue
    if len(documents) < _MOST * len(texts):
        return None
    found: dict[str, list[str]] = {}
    for document in documents:
        for path, text in _leaves(document, ""):
            found.setdefault(path, []).append(text)
    return Shape(('kind = "json"',), tuple(Value(_quoted(path), path, tuple(said)) for path, said in found.items()))


def _leaves(document: dict[str, object], under: str) -> Iterable[tuple[str, str]]:
    for key, value in document.items():
        if isinstance(value, dict):
            yield from _leaves(value, f"{under}{key}.")
        elif isinstance(value, int | float | str) and not isinstance(value, bool):
            yield f"{under}{key}", str(value)


def _key_value(texts: Sequence[str]) -> Shape | None:
    for equals in _EQUALS:
        for pairs in (*_DELIMITERS, ""):
            found = _pairs(texts, pairs, equals)
            if found:
                head = ['kind = "key-value"', f'equals = "{equals}"', *([f"pairs = {_quoted(pairs)}"] if pairs else [])]
                return Shape(tuple(head), tuple(Value(_quoted(key), key, tuple(said)) for key, said in found.items()))
    return None


def _pairs(texts: Sequence[str], pairs: str, equals: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    fitting = 0
    for text in texts:
        parts = [part.partition(equals) for part in text.split(pairs or None)]
        if all(mark and _KEY.fullmatch(key.strip()) and equals not in value for key, mark, value in parts):
            fitting += 1
            for key, _, value in parts:
                found.setdefault(key.strip(), []).append(value.strip())
    return found if fitting >= _MOST * len(texts) else {}


def _delimited(texts: Sequence[str]) -> Shape | None:
    for delimiter in _DELIMITERS:
        counts = [text.count(delimiter) + 1 for text in texts]
        columns = max(set(counts), key=counts.count)
        if not 2 <= columns <= MOST_COLUMNS or counts.count(columns) < _MOST * len(texts):
            continue
        rows = [
            [part.strip() for part in text.split(delimiter)] for text in texts if text.count(delimiter) + 1 == columns
        ]
        names = rows[0] if not any(_NUMBER.fullmatch(part) for part in rows[0]) and all(rows[0]) else None
        body = rows[1:] if names and len(rows) > 1 else rows
        head = ['kind = "delimited"', f"delimiter = {_quoted(delimiter)}", f"columns = {columns}"]
        if names and body is not rows:
            head.append(f"ignore = [{_quoted(names[0])}]")
        if delimiter != "," and any(re.fullmatch(r"-?\d+,\d+", part) for row in body for part in row):
            head.append('decimal = ","')
        values = (Value(str(i + 1), names[i] if names else "", tuple(row[i] for row in body)) for i in range(columns))
        return Shape(tuple(head), tuple(values))
    return None


def _fixed_width(texts: Sequence[str]) -> Shape | None:
    """Lines of one length whose numbers stand one under the other, with blanks between them in all lines."""
    width = len(texts[0])
    if len(texts) < 3 or any(len(text) != width for text in texts):
        return None
    filled = "".join(" " if all(text[i] == " " for text in texts) else "x" for i in range(width))
    spans = [spot.span() for spot in re.finditer("x+", filled)]
    if len(spans) < 2 or not all(_NUMBER.fullmatch(text[a:b].strip() or "0") for text in texts for a, b in spans):
        return None
    head = ('kind = "fixed-width"', f"width = {width}")
    return Shape(
        head, tuple(Value(f"[{a + 1}, {b}]", "", tuple(text[a:b].strip() for text in texts)) for a, b in spans)
    )


def _pattern(texts: Sequence[str]) -> Shape | None:
    """A pattern made of a line like most: its numbers become groups, called after the word before each."""
    bare = [_ALONE.sub("0", text) for text in texts]
    line = texts[bare.index(max(bare, key=bare.count))]
    spots = list(_ALONE.finditer(line))
    if not spots:
        return None
    pattern, at, names = "", 0, []
    for number, spot in enumerate(spots[:20], 1):
        before = line[at : spot.start()]
        pattern += _literal(before) + f"(?P<v{number}>{_NUMBER.pattern})"
        words = re.findall(r"[A-Za-z][A-Za-z0-9]*", before)
        names.append(words[-1] if words else "")
        at = spot.end()
    pattern += _literal(line[at:]) if len(spots) <= 20 else ".*"
    fits = compile_pattern(pattern).fullmatch  # never the standard library's matcher, which may backtrack for ever
    found = [match.groupdict() for text in texts if (match := fits(text))]
    if len(found) < _MOST * len(texts) or "'" in pattern or len(pattern) > LONGEST_PATTERN:
        return None
    values = (Value(f'"v{i}"', name, tuple(one[f"v{i}"] or "" for one in found)) for i, name in enumerate(names, 1))
    return Shape(('kind = "regex"', f"pattern = '{pattern}'"), tuple(values))


def _literal(text: str) -> str:
    return re.sub(r"(\\ )+|\s+", " +", re.escape(text))


def _seen(text: str) -> str:
    """In one line of a comment, whatever was in it."""
    return _UNSEEN.sub("?", text)


def _quoted(text: str) -> str:
    return msgspec.json.encode(text).decode()
