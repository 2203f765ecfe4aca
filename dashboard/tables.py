"""Tables of what is configured; pure."""

from __future__ import annotations

import re
from typing import Final

from collector.rules.catalogue import CATALOGUE
from collector.site import Model, Site
from collector.terms import instruction_of, title_of
from collector.tongue import said
from dashboard import words

_LIMITS: Final = (("amber_pct", "Amber, %"), ("red_pct", "Red, %"), ("shutdown_pct", "Switch-off, %"),
                  ("warm_up_min", "Warm-up, min"), ("rated_flow_lpm", "Rated flow, L/min"),
                  ("nominal_volts", "Nominal supply, V"))  # fmt: skip
_PLACE: Final = re.compile(r"\{\w+\}")  # where an instruction takes a value


def limit_rows(site: Site) -> list[dict[str, str]]:
    """Each model's limits; a star marks what the site file says, the others are defaults."""
    models = list(site.models)
    if any(not unit.model for unit in site.units):
        models.append(Model(id="default"))
    return [{"Model": model.id} | {said(title): _starred(model, name) for name, title in _LIMITS} for model in models]


def _starred(model: Model, name: str) -> str:
    return f"{getattr(model, name):g}{' *' if name in model.model_fields_set else ''}"


def ward_rows(site: Site) -> list[dict[str, str]]:
    """Each ward's flow limit and changeover time."""
    return [
        {"Ward": ward.title, "Flow limit, L/min": f"{ward.flow_limit_lpm:g}" if ward.flow_limit_lpm else said("none"),
         "Changeover, min": f"{ward.changeover_min:g}", "Units": str(len(site.units_of(ward.id)))}
        for ward in site.places()
    ]  # fmt: skip


def condition_rows() -> list[dict[str, str]]:
    """Every alarm that the rules know."""
    return [
        {
            "Alarm": title_of(one.name),
            "Priority": words.PRIORITY[one.priority].lower(),
            "For": ", ".join(map(words.name_of, one.audience)),
            "What to do": _PLACE.sub("…", instruction_of(one)).replace("….", "…"),
        }
        for one in CATALOGUE.values()
    ]
