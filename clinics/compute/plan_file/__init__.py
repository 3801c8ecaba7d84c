"""Reads plan.toml: a clinic's pool, stations, lane groups and team.

deploy/example-plan/plan.toml is a whole example with a comment on each line. What a plan leaves
out of its newer parts (pool hour, venue, a station's camera, the team) says nothing: what is
there stays.
"""

from __future__ import annotations

from clinics.compute.plan_file.reader import FORMAT, is_time_zone, parse_plan
from clinics.compute.plan_file.specs import PlanFile, Said, StationSpec, TeamSpec, WindowSpec

__all__ = [
    "FORMAT",
    "PlanFile",
    "Said",
    "StationSpec",
    "TeamSpec",
    "WindowSpec",
    "is_time_zone",
    "parse_plan",
]
