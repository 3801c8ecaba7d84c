"""Who does what in the demo clinic: the club's own people, a visiting team whose time ends by
itself, one post that is still free, and tasks ticked up to the day."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from clinics.actions.people_at_posts_visits import usual_end
from clinics.actions.tasks import tasks_of
from clinics.actions.tasks_acts import add_task, tick_task
from clinics.compute.tasks_ahead import State
from clinics.models import Clinic, ClinicTask, Duty, Station
from portal.actions.people import invite, user_for
from portal.models import Membership, User

HOME, AWAY = "harbourlane.example", "quillmoor.example"
BEFORE = dt.timedelta(days=28)
CARRIED = ("underwater", "deck")  # by kind: held in the hand, so that there are dives to share
# Name, mail, role of the visiting team, and the posts: kind, and of which kind of station.
PEOPLE: tuple[tuple[str, str, str, tuple[tuple[str, str], ...]], ...] = (
    ("Petra Voss", HOME, "", (("logger", ""), ("camera", "start-side"))),
    ("Edda Varga", AWAY, "coach", (("marshal", ""),)),
    ("Tove Aasen", AWAY, "crew", (("operator", "underwater"),)),
    ("Milo Serrano", AWAY, "crew", (("operator", "underwater"),)),
    ("Ilka Thorne", AWAY, "crew", (("watcher", "underwater"),)),
    ("Nils Okafor", AWAY, "crew", (("camera", "deck"),)),
)
THERMOS = "Bring the large thermos for whoever stands at the edge"


def people_in_demo(clinic: Clinic, *, admin: User) -> None:
    """Repeated, it changes nothing; after a plan was taken in again it puts all back."""
    if clinic.state == Clinic.State.CLOSED:
        return
    clinic.stations.filter(kind__in=CARRIED).update(fixed_mount=False)
    stations = {station.kind: station for station in clinic.stations.all()}
    for name, domain, role, posts in PEOPLE:
        user = user_for(email=f"{name.lower().replace(' ', '.')}@{domain}", name=name)
        if role:
            _visit(clinic, user, role, admin)
        for kind, of in posts:
            _stand(clinic, user, kind, stations.get(of) if of else None, needs=bool(of))
    _tick(clinic, admin)


def _visit(clinic: Clinic, user: User, role: str, admin: User) -> None:
    """From four weeks before the clinic, whenever the demo is made."""
    if Membership.objects.filter(club=clinic.club, user=user, role=role).exists():
        return
    invite(
        club=clinic.club,
        email=user.email,
        name=user.name,
        role=role,
        by=admin,
        from_date=clinic.date - BEFORE,
        until_date=usual_end(clinic, role),
    )


def _stand(clinic: Clinic, user: User, kind: str, station: Station | None, needs: bool) -> None:
    if needs and station is None:
        return
    Duty.objects.get_or_create(clinic=clinic, user=user, kind=kind, station=station)
    if needs:
        Duty.objects.filter(clinic=clinic, user=user, kind=kind, station=None).delete()


def _tick(clinic: Clinic, admin: User) -> None:
    """What was due by the clinic's day is done, each on its own day."""
    if not clinic.tasks.filter(words=THERMOS).exists():
        add_task(clinic=clinic, words=THERMOS, day=clinic.date, for_role="crew", by=admin)
    for line in tasks_of(clinic):
        if line.due.state is State.DONE or line.due.day > clinic.date:
            continue
        row = tick_task(clinic=clinic, key=line.key, by=admin)
        noon = dt.datetime.combine(line.due.day, dt.time(12), dt.UTC)
        ClinicTask.objects.filter(pk=row.pk).update(done_at=min(noon, timezone.now()))
