"""Where the long memory is, and the token that opens it."""

from __future__ import annotations

from pathlib import Path

import msgspec

from collector.site import Site


class TargetError(Exception):
    """The long memory cannot be reached as it is set up; the text names the file and the way out."""


class Target(msgspec.Struct, frozen=True):
    """An InfluxDB server and a bucket there, for one facility. timeout_ms is for one request."""

    facility: str
    url: str
    org: str
    bucket: str
    token_file: Path
    timeout_ms: int = 20_000

    @property
    def key(self) -> str:
        """What it is known by: how far the copy has come is kept for each server and bucket."""
        return f"{self.url} {self.org} {self.bucket}"

    @property
    def database(self) -> tuple[str, str]:
        """Database and retention policy that InfluxQL knows the bucket by (`name` stands for `name/autogen`)."""
        database, _, policy = self.bucket.partition("/")
        return database, policy or "autogen"

    def token(self) -> str:
        """The token, read anew each time so that it can be changed; TargetError when there is none."""
        try:
            token = self.token_file.read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as error:
            said = getattr(error, "strerror", None) or error
            raise TargetError(
                f"{self.token_file}: cannot be read ({said}); put the token of InfluxDB there, as [influx] "
                "token_file says, and let only this program's user read it"
            ) from error
        if not token or any(letter.isspace() for letter in token):
            raise TargetError(f"{self.token_file}: holds no token; it is one line without spaces")
        return token


def target_of(site: Site, site_path: Path | None) -> Target | None:
    """The target of a site file, None when it names none; a relative token_file lies beside the site file."""
    if site.influx is None:
        return None
    table = site.influx
    beside = site_path.parent if site_path is not None else Path()
    return Target(
        facility=site.facility.id, url=table.url, org=table.org, bucket=table.bucket,
        token_file=beside / table.token_file, timeout_ms=round(table.timeout_s * 1000),
    )  # fmt: skip
