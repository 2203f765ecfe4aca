"""The web socket's compression with a long memory, so that what is drawn again costs next to nothing.

The server's own remembers 4 kB (RFC 7692, server_max_window_bits=12): of a board of 14 kB nothing was found again, and
each redraw went over the line whole. With 32 kB it finds all; that is some 300 kB of memory a screen.
"""

from __future__ import annotations

from uvicorn.protocols.websockets import websockets_sansio_impl
from websockets.extensions.permessage_deflate import ServerPerMessageDeflateFactory


class LongMemory(ServerPerMessageDeflateFactory):
    """Compression as a browser offers it, without the server's bounds on what is remembered."""

    def __init__(self, **_bounds: object) -> None:
        super().__init__()


def remember_more() -> None:
    """Have every web socket that is opened from now on remember 32 kB; the server has no setting for it."""
    vars(websockets_sansio_impl)[ServerPerMessageDeflateFactory.__name__] = LongMemory
