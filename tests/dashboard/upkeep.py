"""An invented hospital with tasks, parts, analysers, cylinders and people, for the screens of upkeep."""

from tests.dashboard.hospital import site_text

FACTS = """
technician_h_per_day = 6
electricity_cost_per_kwh = 0.2
currency = "EUR"
"""
TASKS = """
  [[model.task]]
  id = "cabinet-filter"
  name = "Wash the cabinet filter"
  every_days = 7
  minutes = 10
  takes_unit_out = false
  by = "ward"

  [[model.task]]
  id = "intake-filter"
  name = "Replace the intake filter"
  every_h = 4400
  every_days = 20
  minutes = 20
  parts = ["intake-filter"]

  [[model.task]]
  id = "purity-check"
  name = "Check purity at rated flow"
  every_days = 30
  minutes = 30
  proof = true
  takes_unit_out = false
"""
REST = """
[[part]]
id = "intake-filter"
name = "Intake filter"
stock = 3
lead_days = 30
cost = 4.5

[[analyser]]
id = "workshop"
name = "Workshop analyser"
calibrated = {calibrated}
calibrate_days = 3650

[[analyser]]
id = "old"
name = "Old analyser"
calibrated = 2020-01-01

[[cylinder]]
id = "medical-1"
ward = "medical"
water_l = 10
place = "beside the door"

[[person]]
id = "nurse"
name = "Ward nurse"
role = "ward"

[[person]]
id = "engineer"
name = "Hospital engineer"
role = "engineer"

[[person]]
id = "planner"
name = "Hospital planner"
role = "planner"
"""


def upkeep_text(units=5, per_ward=5):
    """The site file: units that came into service in 2025, so that most tasks are overdue."""
    text = site_text(units, per_ward=per_ward).replace("in_service = true", "in_service = 2025-03-01")
    text = text.replace('timezone = "Africa/Nairobi"\n', f'timezone = "Africa/Nairobi"{FACTS}')
    return text.replace("rated_power_w = 350\n", f"rated_power_w = 350\n{TASKS}") + REST.format(calibrated="2026-01-01")
