"""What `sieveward check SITE.toml` does: say whether a site file can be used, and what is in it."""

from __future__ import annotations

from pathlib import Path

from collector.cli.says import EXIT_FAILED, Refused, say, say_error, say_json
from collector.site import Site, SiteError, load_site
from collector.store import StoreError
from collector.store.connect import store_path
from collector.store.soundness import damage_in


def site_or_refuse(path: Path) -> Site:
    """The site of a file, or the command's end with every fault of the file and exit status 2."""
    try:
        return load_site(path)
    except SiteError as error:
        raise Refused(str(error)) from error


def check_site(site_file: Path, *, as_json: bool) -> None:
    """Check a site file and say what is in it."""
    site = site_or_refuse(site_file)
    counts = {
        "wards": len(site.wards), "models": len(site.models), "units": len(site.units),
        "cylinders": len(site.cylinders), "people": len(site.people),
    }  # fmt: skip
    if as_json:
        say_json({"facility": site.facility.id, "simulated": site.simulated, **counts})
        return
    kind = "a simulated facility" if site.simulated else "a facility"
    say(f"{site_file} is good: {kind} '{site.facility.id}' with " + ", ".join(f"{n} {w}" for w, n in counts.items()))
    for ward in site.places():
        say(f"  {ward.title}: {len(site.units_of(ward.id))} units")


def check_store(data: Path, *, as_json: bool) -> None:
    """Read a whole store for damage, beside a collector at work; Refused with exit status 1 when there is any."""
    path = store_path(data)
    say_error(f"reading all of {path} for damage")
    try:
        said = damage_in(path)
    except StoreError as error:
        raise Refused(str(error), EXIT_FAILED) from error
    if as_json:
        say_json({"store": str(path), "sound": not said, "said": said})
    if said:
        way_out = "stop the collector and restore a good copy with `sieveward restore`"
        raise Refused(f"{path} is damaged ({said}): {way_out}", EXIT_FAILED)
    if not as_json:
        say(f"{path} is sound")
