"""The units as HL7 FHIR R5 (5.0.0): one Bundle of Location, Device and DeviceMetric resources, and no patient in it.

Codes for the purity and flow of a concentrator's product are not confirmed in 11073-10101 or LOINC (theirs are of the
patient's side), so types carry codes of our own, under `LOCAL`. Units are UCUM's. Simulated data carry the tag HTEST.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final
from uuid import UUID, uuid5

from collector.reading import iso_utc
from collector.rules.limits import Limits
from collector.rules.unitrow import OFF, RUNNING, WARMING_UP, UnitRow
from collector.service.inventory import IN_SERVICE, NOT_USED, Holding
from collector.site import Site, Ward

LOCAL: Final = "urn:sieveward:quantity"
UCUM: Final = "http://unitsofmeasure.org"
#: Names of resources are made from facility and id in this name space, so that each export says the same ones.
_SPACE: Final = UUID("6f1c2f5e-6f0b-5c0e-9d0b-3a4d5d1f9b52")
_TEST_DATA: Final = {"system": "http://terminology.hl7.org/CodeSystem/v3-ActReason", "code": "HTEST",
                     "display": "test health data"}  # fmt: skip
#: Field of a unit's row, its name, its UCUM code, and what people write.
METRICS: Final = (
    ("purity_pct", "product-purity", "%", "%"), ("flow_lpm", "product-flow", "L/min", "L/min"),
    ("power_w", "power", "W", "W"),
)  # fmt: skip
_AVAILABLE: Final = {"system": "http://hl7.org/fhir/device-availability-status", "code": "available"}

Resource = dict[str, Any]


def bundle(site: Site, holdings: Sequence[Holding], units: Mapping[str, UnitRow], now_ms: int) -> Resource:
    """A Bundle of type collection; operationalStatus is left out where readings are not of now (older than silence)."""
    resources = [_location(ward) for ward in site.places()]
    for held in holdings:
        resources.append(_device(site, held))
        resources += _metrics(held, units.get(held.number, UnitRow(unit=held.number)), now_ms)
    entries = []
    for resource in resources:
        if site.simulated:
            resource["meta"] = {"tag": [_TEST_DATA]}
        entries.append({"fullUrl": _url(site.facility.id, resource["resourceType"], resource["id"]),
                        "resource": _linked(site.facility.id, resource)})  # fmt: skip
    return {"resourceType": "Bundle", "type": "collection", "timestamp": iso_utc(now_ms), "entry": entries}


def _location(ward: Ward) -> Resource:
    return {"resourceType": "Location", "id": f"ward-{ward.id}", "status": "active", "name": ward.title,
            "mode": "instance"}  # fmt: skip


def _device(site: Site, held: Holding) -> Resource:
    device: Resource = {
        "resourceType": "Device", "id": held.number,
        "identifier": [{"system": f"urn:sieveward:{held.facility}", "value": held.number}],
        "status": "inactive" if held.state == NOT_USED else "active",
        "name": [{"value": held.number, "type": "user-friendly-name", "display": True}],
        "type": [{"text": held.generic_name}],
        "location": {"reference": f"Location/ward-{site.ward_of(held.number).id}"},
        "property": _properties(held), "note": [{"text": f"State: {held.state}"}],
    }  # fmt: skip
    if held.state == IN_SERVICE:
        device["availabilityStatus"] = {"coding": [_AVAILABLE]}
    if held.serial:
        device["serialNumber"] = held.serial
    if held.model:
        device["modelNumber"] = held.model
    return device


def _properties(held: Holding) -> list[Resource]:
    values = (("rated-flow", held.rated_flow_lpm, "L/min"), ("good-to-flow", held.good_to_lpm, "L/min"),
              ("service-hours", held.service_hours_h, "h"), ("hour-meter", held.hour_meter_h, "h"),
              ("last-proof-purity", held.last_proof_pct, "%"))  # fmt: skip
    return [
        {"type": _local(name), "valueQuantity": {"value": value, "unit": sign, "system": UCUM, "code": sign}}
        for name, value, sign in values
        if value is not None
    ]


def _metrics(held: Holding, row: UnitRow, now_ms: int) -> list[Resource]:
    fresh = row.last_ms is not None and now_ms - row.last_ms <= Limits().absent_ms
    status = {RUNNING: "on", WARMING_UP: "on", OFF: "off"}.get(row.phase) if fresh else None
    made = []
    for field, name, code, sign in METRICS:
        if getattr(row, field) is not None:
            metric: Resource = {
                "resourceType": "DeviceMetric", "id": f"{held.number}-{name}", "category": "measurement",
                "type": _local(name), "unit": {"coding": [{"system": UCUM, "code": code}], "text": sign},
                "device": {"reference": f"Device/{held.number}"}, "calibration": [{"state": "unspecified"}],
            }  # fmt: skip
            made.append(metric | ({"operationalStatus": status} if status else {}))
    return made


def _local(name: str) -> Resource:
    return {"coding": [{"system": LOCAL, "code": name}], "text": name.replace("-", " ")}


def _url(facility: str, kind: str, name: str) -> str:
    return f"urn:uuid:{uuid5(_SPACE, f'{facility}/{kind}/{name}')}"


def _linked(facility: str, resource: Resource) -> Resource:
    """The resource with its references written as the full addresses of the bundle's own entries."""
    for key in ("location", "device"):
        if key in resource:
            kind, name = resource[key]["reference"].split("/")
            resource[key] = {"reference": _url(facility, kind, name)}
    return resource
