"""The compose file against a published schema.

Source: the Compose Specification's own JSON schema (open_data/README.md says where it is from).
Not run here: a container. No container daemon is at hand where these tests run.
"""

import gzip
import json
from pathlib import Path

import jsonschema
import pytest
import yaml

from tests.deploy.command_lines import refusal

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "deploy" / "compose.yaml").read_text(encoding="utf-8")
FILE = yaml.safe_load(TEXT)
SCHEMA = json.loads(gzip.decompress((Path(__file__).parent / "open_data" / "compose-spec.json.gz").read_bytes()))
OURS = sorted(name for name, service in FILE["services"].items() if service["image"].startswith("sieveward"))


def faults(file):
    return [error.message for error in jsonschema.validators.validator_for(SCHEMA)(SCHEMA).iter_errors(file)]


def test_it_is_as_the_specification_says() -> None:
    assert faults(FILE) == []


def test_that_check_can_fail() -> None:
    assert faults({**FILE, "services": {"broker": {"imagee": "x"}}})


@pytest.mark.parametrize("name", OURS)
def test_each_service_starts_a_command_that_there_is(name) -> None:
    service = FILE["services"][name]
    if "entrypoint" in service:
        assert service["entrypoint"][0] == "nats-server"
    else:
        assert refusal(service["command"]) == ""


@pytest.mark.parametrize("name", OURS)
def test_each_service_is_held_back(name) -> None:
    service = FILE["services"][name]
    assert (service["read_only"], service["cap_drop"]) == (True, ["ALL"])
    assert "no-new-privileges:true" in service["security_opt"]


def test_volumes_and_secrets_that_are_used_are_named() -> None:
    used = {volume.split(":")[0] for service in FILE["services"].values() for volume in service.get("volumes", ())}
    assert {name for name in used if name[0].isalpha()} == set(FILE["volumes"])
    assert {secret for service in FILE["services"].values() for secret in service.get("secrets", ())} == set(
        FILE["secrets"]
    )


def test_images_are_named_without_a_registry() -> None:
    assert all("." not in service["image"].split(":")[0] for service in FILE["services"].values())


def test_the_image_is_built_from_what_is_here() -> None:
    lines = (ROOT / "deploy" / "Dockerfile").read_text(encoding="utf-8").splitlines()
    copied = [line.split()[1] for line in lines if line.startswith("COPY")]
    assert copied
    assert all((ROOT / path).exists() for path in copied)
    assert "USER sieveward" in lines
