"""Parts that a plan may have: pool hour, venue, a station's camera, posts at stations, visitors.
What a plan leaves out stays as it was said on the pages."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.plan import take_in_plan
from clinics.actions.pool_hour import set_pool_hour
from clinics.actions.venue import put_venue
from clinics.models import Clinic, Duty, PoolHour, Station, VenueSheet
from portal.actions.people import end_membership
from portal.models import AuditEntry, Club, Membership, User

EXAMPLE = Path(__file__).resolve().parents[2] / "deploy" / "example-plan"
DAY = timezone.now().date() + dt.timedelta(days=30)
UNTIL = DAY + dt.timedelta(days=28)
PLAN = (EXAMPLE / "plan.toml").read_text()
PLAN = PLAN.replace("date = 2026-12-05", f"date = {DAY}").replace("2027-01-02", f"{UNTIL}")
CAMERA = ("angle_deg", "port", "bearing_deg", "fixed_mount", "bit_rate", "card_gb", "battery_min")
VISITOR = "edda.varga@quillmoor.example"
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def club() -> Club:
    return Club.objects.create(slug="harbour-lane-masters", name="Harbour Lane Masters")


def taken(plan: str = PLAN) -> Clinic:
    return take_in_plan(text=plan, by=None)


def wrong(text: str) -> dict[str, str]:
    with pytest.raises(BadInput) as caught:
        taken(text)
    return dict(caught.value.errors)


def without_parts() -> str:
    """The example as plans were before there were such parts."""
    parts, stations = PLAN.index("# When the pool is yours"), PLAN.index("# One to six stations")
    text = PLAN[:parts] + PLAN[stations:]
    return "\n".join(line for line in text.splitlines() if not line.startswith(CAMERA))


def holds(clinic: Clinic) -> list[tuple[str, str, str]]:
    rows = clinic.duties.select_related("user", "station").order_by("user__name", "kind")
    return [(row.user.name, row.kind, row.station.slug if row.station else "") for row in rows]


def test_pool_hour_venue_and_camera_are_taken_in() -> None:
    clinic = taken()
    hour = PoolHour.objects.get(clinic=clinic)
    assert (hour.begins, hour.minutes, hour.rest_s) == (dt.time(10, 30), 60, 180)
    venue = VenueSheet.objects.get(clinic=clinic)
    assert (venue.operator, venue.permission, venue.ropes_out) == ("Millrace Leisure", "asked", [1])
    assert venue.depth_profile[-1] == [22.86, 1.0]
    assert venue.depth_measured_on == dt.date(2025, 10, 3)
    start = clinic.stations.get(slug="start-side")
    assert (start.angle_deg, start.port, start.bit_rate) == (60.0, "air", "1080i")
    assert not clinic.stations.get(slug="deck").fixed_mount
    assert clinic.stations.get(slug="underwater").fixed_mount


def test_plan_without_the_parts_keeps_what_stands_on_the_pages() -> None:
    clinic = taken()
    set_pool_hour(clinic=clinic, values={"begins": dt.time(9), "minutes": 45}, by=None)
    put_venue(clinic=clinic, values={"lifeguard": "Aoife Brandt", "lane_m": 2.1}, by=None)
    Station.objects.filter(clinic=clinic, slug="deck").update(angle_deg=33.0, card_gb=64)
    before = holds(clinic)
    assert taken(without_parts()).pk == clinic.pk
    hour = PoolHour.objects.get(clinic=clinic)
    assert (hour.begins, hour.minutes) == (dt.time(9), 45)
    venue = VenueSheet.objects.get(clinic=clinic)
    assert (venue.lifeguard, venue.lane_m, venue.operator) == (
        "Aoife Brandt",
        2.1,
        "Millrace Leisure",
    )
    deck = clinic.stations.get(slug="deck")
    assert (deck.angle_deg, deck.card_gb, deck.fixed_mount) == (33.0, 64, False)
    assert holds(clinic) == before != []


def test_part_that_says_one_field_leaves_the_others() -> None:
    clinic = taken()
    put_venue(clinic=clinic, values={"lifeguard": "Aoife Brandt"}, by=None)
    taken()
    assert VenueSheet.objects.get(clinic=clinic).lifeguard == "Aoife Brandt"
    set_pool_hour(clinic=clinic, values={"minutes": 45}, by=None)
    shorter = PLAN.replace("minutes = 60   ", "# minutes = 60   ")
    taken(shorter)
    assert PoolHour.objects.get(clinic=clinic).minutes == 45


def test_what_is_wrong_in_the_parts_is_named() -> None:
    told = wrong(
        PLAN.replace("begins = 10:30:00", 'begins = "soon"')
        .replace("change_over_s = 30", "change_over_s = 30.5")
        .replace("lanes = 6", "lanes = 60")
        .replace('permission = "asked"', 'permission = "perhaps"')
        .replace('network = "no"', "wifi = false")
        .replace('port = "air"', 'port = "glass"')
        .replace("battery_min = 120", "battery_min = 0")
    )
    assert set(told) == {
        "plan.toml, pool_hour.begins",
        "plan.toml, pool_hour.change_over_s",
        "plan.toml, venue.lanes",
        "plan.toml, venue.permission",
        "plan.toml, venue.wifi",
        "plan.toml, station 1.port",
        "plan.toml, station 1.battery_min",
    }
    assert not Clinic.objects.exists()


def test_what_the_sheet_and_the_hour_refuse_is_told_with_the_part() -> None:
    told = wrong(
        PLAN.replace('permission = "asked"', 'permission = "given"')
        .replace("ropes_out = [1]", "ropes_out = [6]")
        .replace("reserve_s = 0", "reserve_s = 3600")
    )
    assert set(told) == {
        "plan.toml, venue.permission_by",
        "plan.toml, venue.ropes_out",
        "plan.toml, pool_hour.kept back at the end, seconds",
    }
    assert not Clinic.objects.exists()


# --- posts ---------------------------------------------------------------------------------------

DIVES = """
[[team]]
email = "tove.brandt@harbourlane.example"
name = "Tove Brandt"
duty = "operator"
[[team]]
email = "ilse.ravn@harbourlane.example"
name = "Ilse Ravn"
duty = "watcher"
"""


def with_team(rows: str) -> str:
    return PLAN.replace("# One to six stations.", f"{rows}\n# One to six stations.")


def test_operator_and_watcher_stand_at_the_station_under_water() -> None:
    clinic = taken(with_team(DIVES))
    assert ("Tove Brandt", "operator", "underwater") in holds(clinic)
    assert ("Ilse Ravn", "watcher", "underwater") in holds(clinic)
    assert ("Petra Voss", "camera", "start-side") in holds(clinic)


def test_station_of_a_duty_must_be_one_that_has_it() -> None:
    said = (
        DIVES.replace('duty = "operator"', 'duty = "operator"\nstation = "deck"').replace(
            'duty = "watcher"', 'duty = "logger"\nstation = "deck"'
        )
        + '[[team]]\nemail = "jo@harbourlane.example"\nduty = "camera"\nstation = "roof"\n'
    )
    told = wrong(with_team(said))
    assert told["plan.toml, team 6.station"] == "“deck” is no station under water."
    assert "camera, operator and watcher" in told["plan.toml, team 7.station"]
    assert "no station “roof”" in told["plan.toml, team 8.station"]


def test_camera_without_a_station_keeps_the_one_given_on_the_page() -> None:
    loose = PLAN.replace('station = "start-side"\n', "")
    clinic = taken(loose)
    assert ("Petra Voss", "camera", "") in holds(clinic)
    Duty.objects.filter(clinic=clinic, kind="camera").update(
        station=clinic.stations.get(slug="turn-window")
    )
    taken(loose)
    assert [row for row in holds(clinic) if row[1] == "camera"] == [
        ("Petra Voss", "camera", "turn-window")
    ]


def test_plan_that_names_a_team_names_all_of_it() -> None:
    clinic = taken(with_team(DIVES))
    taken()
    assert {kind for _who, kind, _at in holds(clinic)} == {"checker", "logger", "camera"}


# --- visitors ------------------------------------------------------------------------------------


def visit() -> Membership:
    return Membership.objects.get(user__email=VISITOR)


def test_visitor_of_a_plan_ends_by_itself() -> None:
    taken()
    assert (visit().role, visit().until_date) == ("coach", UNTIL)
    current = Membership.objects.current
    assert current(UNTIL).filter(pk=visit().pk).exists()
    assert not current(UNTIL + dt.timedelta(days=1)).filter(pk=visit().pk).exists()


def test_last_day_follows_the_plan_and_nobody_else_gets_one() -> None:
    later = UNTIL + dt.timedelta(days=7)
    taken()
    taken(PLAN.replace(f"until = {UNTIL}", f"until = {later}"))
    assert visit().until_date == later
    taken(PLAN.replace(f"until = {UNTIL}", ""))
    assert visit().until_date == later  # a plan that says nothing changes nothing
    Membership.objects.filter(pk=visit().pk).update(until_date=None)
    taken()
    assert visit().until_date is None  # works for the club for good


def test_visitor_whom_an_admin_ended_stays_ended_and_one_of_last_year_comes_again() -> None:
    taken()
    long_ago = {"from_date": dt.date(2020, 3, 1), "until_date": dt.date(2020, 4, 1)}
    Membership.objects.filter(pk=visit().pk).update(**long_ago)
    taken()
    assert visit().until_date == UNTIL
    assert visit().from_date > dt.date(2020, 4, 1)  # the time between was no visit
    Membership.objects.filter(pk=visit().pk).update(from_date=dt.date(2020, 3, 1))
    ended = end_membership(membership=visit(), by=None)
    taken()
    assert visit().until_date == ended.until_date < UNTIL
    assert AuditEntry.objects.filter(action="membership.from-plan").exists()


def test_last_day_before_the_clinic_or_two_different_ones_are_refused() -> None:
    early = wrong(PLAN.replace(f"until = {UNTIL}", f"until = {DAY - dt.timedelta(days=1)}"))
    assert "before the clinic's day" in early["plan.toml, team 5.until"]
    twice = f'[[team]]\nemail = "{VISITOR}"\nduty = "starter"\nuntil = {DAY}\n'
    assert f"{UNTIL}" in wrong(with_team(twice))["plan.toml, team 6.until"]


def test_second_row_of_a_visitor_makes_no_member_for_good() -> None:
    starter = f'[[team]]\nemail = "{VISITOR}"\nduty = "starter"\n'
    taken(with_team(starter))
    user = User.objects.get(email=VISITOR)
    assert [(one.role, one.until_date) for one in user.memberships.all()] == [("coach", UNTIL)]
    assert Duty.objects.filter(user=user, kind="starter").exists()
