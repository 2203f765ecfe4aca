"""Tables of what is configured; pure."""

from __future__ import annotations

import re
from typing import Final

from collector.rules.catalogue import CATALOGUE
from collector.site import Model, Site
from collector.terms import instruction_of, title_of
from collector.tongue import said
from dashboard import words

_LIMITS: Final = (("amber_pct", "amber, %"), ("red_pct", "red, %"), ("shutdown_pct", "switch-off, %"),
                  ("warm_up_min", "warm-up, min"), ("rated_flow_lpm", "rated flow, L/min"),
                  ("nominal_volts", "nominal supply, V"))  # fmt: skip
_PLACE: Final = re.compile(r"\{\w+\}")  # where an instruction takes a value


def limit_rows(site: Site) -> list[dict[str, str]]:
    """Each model's limits; a star marks what the site file says, the others are defaults."""
    models = list(site.models)
    if any(not unit.model for unit in site.units):
        models.append(Model(id="default"))
    return [{"model": model.id} | {said(title): _starred(model, name) for name, title in _LIMITS} for model in models]


def _starred(model: Model, name: str) -> str:
    return f"{getattr(model, name):g}{' *' if name in model.model_fields_set else ''}"


def ward_rows(site: Site) -> list[dict[str, str]]:
    """Each ward's flow limit and changeover time."""
    return [
        {"ward": ward.title, "flow limit, L/min": f"{ward.flow_limit_lpm:g}" if ward.flow_limit_lpm else said("none"),
         "changeover, min": f"{ward.changeover_min:g}", "units": str(len(site.units_of(ward.id)))}
        for ward in site.places()
    ]  # fmt: skip


def condition_rows() -> list[dict[str, str]]:
    """Every alarm that the rules know."""
    return [
        {
            "alarm": title_of(one.name),
            "priority": words.PRIORITY[one.priority].lower(),
            "for": ", ".join(map(words.name_of, one.audience)),
            "what to do": _PLACE.sub("…", instruction_of(one)),
        }
        for one in CATALOGUE.values()
    ]
