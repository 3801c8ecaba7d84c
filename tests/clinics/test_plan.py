"""Plans: whole or not at all, everything wrong is named, taking in again updates."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from clinics.actions.errors import BadInput
from clinics.actions.plan import take_in_plan
from clinics.models import Clinic, Entry, Station, Swim
from portal.models import AuditEntry, Club, Membership, User
from tests.cast import FIRST_START, Cast, make_recording

EXAMPLE = Path(__file__).resolve().parents[2] / "deploy" / "example-plan"
PLAN = (EXAMPLE / "plan.toml").read_text()
ROSTER = (EXAMPLE / "roster.csv").read_text()
pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return Club.objects.create(slug="harbour-lane-masters", name="Harbour Lane Masters")


def wrong(text: str, **kwargs: object) -> list[tuple[str, str]]:
    with pytest.raises(BadInput) as caught:
        take_in_plan(text=text, **kwargs)
    return caught.value.errors


def example(roster: str = ROSTER, plan: str = PLAN) -> Clinic:
    return take_in_plan(text=plan, roster_text=roster, by=None)


def test_example_is_taken_in_whole(club: Club) -> None:
    clinic = take_in_plan(text=PLAN, base_dir=EXAMPLE, by=None)
    assert (clinic.course_m, clinic.distance_m, clinic.zone.key) == (22.86, 68.58, "Europe/Dublin")
    kinds = list(clinic.stations.values_list("kind", flat=True))
    assert kinds == ["start-side", "underwater", "turn-window", "deck"]
    assert [group.name for group in clinic.lane_groups.all()] == ["A", "B"]
    assert list(clinic.entries.values_list("number", flat=True)) == [1, 2, 3, 11, 12, 13]
    assert clinic.entries.get(number=2).pace_s_per_100m == 92.5
    assert clinic.entries.get(number=3).swimmer.adult_attested_at is not None
    assert clinic.duties.get(kind="checker").user.email == "jun.sorley@harbourlane.example"
    coach = Membership.objects.get(role="coach", until_date=None)
    assert coach.user.email == "ines.aldana@harbourlane.example"
    assert coach.from_date <= clinic.date
    assert AuditEntry.objects.filter(action="plan.taken-in").count() == 1


def test_taking_in_again_changes_nothing(club: Club) -> None:
    first = example()
    keys = {
        model: set(model.objects.values_list("pk", flat=True))
        for model in (Station, Entry, Membership, User)
    }
    again = example()
    assert again.pk == first.pk
    for model, known in keys.items():
        assert set(model.objects.values_list("pk", flat=True)) == known


def test_couple_shares_an_address_and_a_name_may_lack_one(club: Club) -> None:
    clinic = example()
    shared = clinic.entries.filter(swimmer__email="okada.birk@harbourlane.example")
    assert [entry.number for entry in shared] == [2, 12]
    assert clinic.entries.get(number=3).swimmer.email == ""


def test_every_bad_field_is_named_at_once(club: Club) -> None:
    text = (
        PLAN.replace("course_m = 22.86", "course_m = 3")
        .replace('time_zone = "Europe/Dublin"', 'time_zone = "Europe/Millrace"')
        .replace("date = 2026-12-05", 'date = "last Saturday"')
        .replace('kind = "deck"', 'kind = "drone"')
        .replace("air_temperature_c", "hall_temperature_c")
        .replace('duty = "logger"', 'duty = "diver"')
        .replace("to_s = 9.0", "to_s = -9.0")
    )
    told = {where: sentence for where, sentence in wrong(text, source="p.toml")}
    assert set(told) == {
        "p.toml, clinic.course_m",
        "p.toml, clinic.time_zone",
        "p.toml, clinic.date",
        "p.toml, clinic.air_temperature_c",
        "p.toml, clinic.hall_temperature_c",
        "p.toml, station 4.kind",
        "p.toml, team 2.duty",
        "p.toml, station 1.windows 1.to_s",
    }
    assert "start-side, underwater, turn-window, deck" in told["p.toml, station 4.kind"]
    assert not Clinic.objects.exists()


@pytest.mark.parametrize("count", [0, 7])
def test_one_to_six_stations(club: Club, count: int) -> None:
    head = PLAN[: PLAN.index("[[station]]")].replace('station = "start-side"\n', "")
    station = '[[station]]\nslug = "s{n}"\nname = "S"\nkind = "underwater"\nx_m = 1\ny_m = 1\n'
    text = head + "".join(station.format(n=n) for n in range(count))
    assert [where for where, _ in wrong(text)] == ["plan.toml, station"]


def test_broken_toml_says_where(club: Club) -> None:
    assert "line 2" in wrong('format = "sidelane-plan/1"\nclinic is\n')[0][1]


def test_missing_club_says_what_to_do() -> None:
    where, sentence = wrong(PLAN, roster_text=ROSTER)[0]
    assert where == "plan.toml, clinic.club"
    assert "first_admin" in sentence
    assert not User.objects.exists()


def test_bad_roster_keeps_the_plan_out(club: Club) -> None:
    errors = wrong(PLAN, roster_text=ROSTER.replace("yes,butterfly", "no,butterfly"))
    assert [where for where, _ in errors] == ["roster.csv, row 6, column “adult”"]
    assert not Clinic.objects.exists()
    assert not User.objects.exists()


def test_roster_file_must_lie_beside_the_plan(club: Club, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "roster.csv").write_text(ROSTER)
    outside = PLAN.replace('roster = "roster.csv"', 'roster = "../roster.csv"')
    assert "beside the plan" in wrong(outside, base_dir=tmp_path / "in")[0][1]


def test_only_an_admin_of_the_club_plans_for_it(cast: Cast) -> None:
    for person in (cast.crew, cast.coach, cast.other_admin, cast.tomas):
        errors = wrong(PLAN, roster_text=ROSTER, by=person)
        assert "not an admin" in errors[0][1]
    assert take_in_plan(text=PLAN, roster_text=ROSTER, by=cast.admin).club == cast.harbour


def test_short_name_of_another_clubs_clinic_is_taken(cast: Cast) -> None:
    text = PLAN.replace('slug = "harbour-example"', 'slug = "quillmoor-open"')
    assert "another club" in wrong(text, by=cast.admin)[0][1]


def test_stations_change_places_and_one_with_recordings_stays(club: Club) -> None:
    clinic = example()
    parts = PLAN.split("[[station]]")
    tail = parts[-1][parts[-1].index("# Swimmers who rotate") :]
    parts[-1] = parts[-1][: -len(tail)]
    turned = parts[0] + "".join("[[station]]" + part for part in reversed(parts[1:])) + tail
    assert example(plan=turned).pk == clinic.pk
    slugs = list(clinic.stations.values_list("slug", flat=True))
    assert slugs == ["deck", "turn-window", "underwater", "start-side"]
    by = User.objects.first()
    assert by is not None
    make_recording(clinic.stations.get(slug="deck"), by, zero_at=FIRST_START, frames=10)
    without_deck = parts[0] + "".join("[[station]]" + part for part in parts[1:-1]) + tail
    errors = wrong(without_deck, roster_text=ROSTER)
    assert [where for where, _ in errors] == ["plan.toml, station “deck”"]
    assert clinic.stations.count() == 4


def test_nobody_who_has_swum_is_taken_out(club: Club) -> None:
    clinic = example()
    swum = clinic.entries.get(number=13)
    Swim.objects.create(entry=swum, start_at=FIRST_START, start_u_ms=150)
    shorter = "\n".join(row for row in ROSTER.splitlines() if not row.startswith(("3,", "13,")))
    errors = wrong(PLAN, roster_text=shorter)
    assert [where for where, _ in errors] == ["roster.csv, number 13"]
    assert clinic.entries.filter(number=3).exists()  # nothing was half done
    other = ROSTER.replace("13,Noor Castellan", "13,Somebody Else")
    assert "another number" in wrong(PLAN, roster_text=other)[0][1]


def test_command_names_each_mistake_on_a_line_and_ends_with_2(tmp_path: Path) -> None:
    (tmp_path / "roster.csv").write_text(ROSTER.replace("1,Tomas Birk", "0,Tomas Birk"))
    (tmp_path / "plan.toml").write_text(PLAN.replace("distance_m = 68.58", 'distance_m = "far"'))
    with pytest.raises(CommandError) as caught:
        call_command("plan_clinic", str(tmp_path / "plan.toml"))
    assert caught.value.returncode == 2
    assert "clinic.distance_m: must be a number" in str(caught.value)


def test_command_makes_the_club_only_when_told() -> None:
    out = io.StringIO()
    with pytest.raises(CommandError):
        call_command("plan_clinic", str(EXAMPLE / "plan.toml"), stdout=out)
    call_command(
        "plan_clinic",
        str(EXAMPLE / "plan.toml"),
        create_club="Harbour Lane Masters",
        json=True,
        stdout=out,
    )
    assert '"swimmers": 6' in out.getvalue()
    assert Club.objects.get().name == "Harbour Lane Masters"
