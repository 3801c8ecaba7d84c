"""The demo clinic's plan as its club made it: venue, hour, people, stations."""

from __future__ import annotations

from clinics.management.demo_hour import hour_in_demo
from clinics.management.demo_people import people_in_demo
from clinics.management.demo_stations import stations_in_demo
from clinics.management.demo_try_out import try_out_in_demo
from clinics.management.demo_venue import cautions_in_demo, venue_in_demo
from clinics.models import Clinic
from portal.models import User


def plan_in_demo(clinic: Clinic, *, admin: User) -> None:
    """Each part does nothing where it stands already. Cautions come last: who has a post reads
    them."""
    venue_in_demo(clinic, by=admin)
    stations_in_demo(clinic, by=admin)
    people_in_demo(clinic, admin=admin)
    hour_in_demo(clinic, by=admin)
    try_out_in_demo(clinic)
    cautions_in_demo(clinic)
