"""All that is believed of one unit, as one thing to be stored and taken up again: estimate, signs, pace."""

from __future__ import annotations

from typing import Final

import msgspec

from collector.rules.capacity.estimate import Estimate, new_estimate
from collector.rules.capacity.follow import CALM_MS
from collector.rules.capacity.signs import Signs


class Belief(msgspec.Struct, array_like=True):
    """`length_ms`: how long a mean takes now; a purity under `watch_pct` makes it one minute."""

    estimate: Estimate
    signs: Signs = msgspec.field(default_factory=Signs)
    length_ms: int = CALM_MS
    watch_pct: float = 0.0
    left_ms: int | None = None  # since when purity lies under the plateau without a change of flow
    stepped_ms: int = 0  # when flow was last set anew
    outside_ms: int | None = None  # since when overdraw or a low supply explains a low purity
    hour_ms: int | None = None  # hour whose point is not yet written
    last_pct: float | None = None
    calm_pct: float = 0.0  # last mean on the plateau, or first after a change of flow
    held_lpm: float = 0.0  # highest flow lately seen to hold, and when; kept when a red reading unproves it
    held_ms: int = 0
    still_n: int = 0  # means running that lie where the first of them did, and where and when that was
    still_pct: float = 0.0
    still_ms: int = 0
    told_stage: int = 0  # which limit was last said to come next
    top_c: float | None = None  # ln capacity where the present fall began, and when
    top_ms: int = 0


def new_belief(rated_lpm: float) -> Belief:
    """What is believed of a unit that nobody has looked at yet."""
    return Belief(new_estimate(rated_lpm))


#: Goes up with every change of what is stored: fields are told apart by their place.
VERSION: Final = 2

_encode = msgspec.msgpack.Encoder().encode
_decode = msgspec.msgpack.Decoder(tuple[int, msgspec.Raw]).decode
_decode_belief = msgspec.msgpack.Decoder(Belief).decode


def packed(belief: Belief) -> bytes:
    """A belief as it is stored."""
    return _encode((VERSION, belief))


def unpacked(blob: bytes) -> Belief:
    """A stored belief; msgspec.DecodeError when it is none of this version."""
    version, body = _decode(blob)
    if version != VERSION:
        raise msgspec.DecodeError(f"an estimate of version {version}, not {VERSION}")
    return _decode_belief(body)
