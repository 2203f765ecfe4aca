"""Lines to the server by influxdb-client, and what its many ways to fail mean.

Rules of this file: every failure is one of three. `Away`: nothing is known to be wrong with the lines, the same are
sent again later. `Refused`: there is a line among them that this server never takes. `TooLarge`: fewer at a time.
A status that is not known counts as `Away`, so that nothing is thrown away for a fault of a server or a proxy.
"""

from __future__ import annotations

import email.utils
import re
import time
from collections.abc import Sequence
from typing import Any, Final

from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException
from urllib3.exceptions import HTTPError

from collector.influx.target import Target, TargetError

#: Documented for /api/v2/write: 400 a line is malformed and nothing of the request is written, 422 some lines are
#: refused (another type, too old for the bucket) and the others are written.
_MALFORMED: Final = 400
_PARTLY: Final = 422
_DROPPED: Final = re.compile(r"\bdropped=([1-9]\d*)")
_TOO_LARGE: Final = 413
#: What a person has to mend; a token or a bucket may be changed at any time, so these are tried again too.
_CLOSED: Final = {
    401: "the token is not known there; put a good one into {file}",
    403: "the token may not write to bucket '{bucket}'; give it that right, or name another in {file}",
    404: "there is no bucket '{bucket}' in organisation '{org}'; make it, or correct [influx] in the site file",
}
CLOSED_PAUSE_S: Final = 60.0
RETRY_AFTER_MOST_S: Final = 3_600.0


class Away(Exception):
    """The server did not take them now. pause_s is how long to wait at least; None: the sender's own back-off."""

    def __init__(self, said: str, pause_s: float | None = None) -> None:
        super().__init__(said)
        self.pause_s = pause_s


class Refused(Exception):
    """At least one of the lines will never be taken.

    dropped: how many, where the server says so and has taken the others; None where nothing is known of the others.
    """

    def __init__(self, said: str, dropped: int | None = None) -> None:
        super().__init__(said)
        self.dropped = dropped


class TooLarge(Exception):
    """More than the server takes at a time."""


class Sender:
    """Writes lines to one bucket; makes its client when first needed, and anew after the server closed the door."""

    def __init__(self, target: Target) -> None:
        self._target = target
        self._client: Any = None

    def send(self, lines: Sequence[str]) -> None:
        """Have lines on the server when this returns; Away, Refused or TooLarge."""
        try:
            self._ready().write_api(write_options=SYNCHRONOUS).write(
                bucket=self._target.bucket, org=self._target.org, record="\n".join(lines), write_precision="ms"
            )
        except ApiException as error:
            raise self._meaning(error) from error
        except (HTTPError, OSError) as error:  # of urllib3: the library lets them through as they are
            raise Away(f"{self._target.url} does not answer ({_first_line(error)})") from error
        except TargetError as error:
            raise Away(str(error), CLOSED_PAUSE_S) from error

    def close(self) -> None:
        """Let the connections go."""
        if self._client is not None:
            self._client.close()
            self._client = None

    def _ready(self) -> Any:  # noqa: ANN401 - the library carries no types
        if self._client is None:
            self._client = InfluxDBClient(
                url=self._target.url, token=self._target.token(), org=self._target.org,
                timeout=self._target.timeout_ms, enable_gzip=True,
            )  # fmt: skip
        return self._client

    def _meaning(self, error: ApiException) -> Exception:
        said = f"{error.status}: {_first_line(error.message)}"
        if error.status == _PARTLY and (found := _DROPPED.search(said)):
            return Refused(said, int(found[1]))
        if error.status in (_MALFORMED, _PARTLY):
            return Refused(said)
        if error.status == _TOO_LARGE:
            return TooLarge(said)
        if error.status in _CLOSED:
            self.close()  # the next try reads the token anew
            way_out = _CLOSED[error.status].format(
                bucket=self._target.bucket, org=self._target.org, file=self._target.token_file
            )
            return Away(f"{self._target.url} refuses ({said}): {way_out}", CLOSED_PAUSE_S)
        return Away(f"{self._target.url} cannot take anything now ({said})", retry_after_s(error.retry_after))


def retry_after_s(value: str | None, now_s: float | None = None) -> float | None:
    """Seconds of a Retry-After header (a number or an HTTP date, RFC 9110 10.2.3), an hour at most; None without."""
    if not value:
        return None
    if value.strip().isdigit():
        return min(float(value), RETRY_AFTER_MOST_S)
    try:
        moment = email.utils.parsedate_to_datetime(value)
    except ValueError:
        return None
    wait_s = moment.timestamp() - (time.time() if now_s is None else now_s)
    return min(max(wait_s, 0.0), RETRY_AFTER_MOST_S)


def _first_line(said: object) -> str:
    text = said.decode(errors="replace") if isinstance(said, bytes) else str(said)
    return " ".join(text.split())[:300]
