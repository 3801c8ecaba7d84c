"""Who has seen the demo's swims: noted by the act that notes it in use, so that the pages show."""

from __future__ import annotations

from clinics.actions.access import note_view
from clinics.models import Clinic, ClipFile
from feedback.privacy import coaches_of

SWIMS = 6


def note_views(clinic: Clinic) -> int:
    """A coach watched the first swims that were given. How many."""
    coach = coaches_of(clinic).first()
    if coach is None:
        return 0
    films = ClipFile.objects.visible_to(coach).filter(kind=ClipFile.Kind.VIDEO)
    films = films.filter(clip__swim__entry__clinic=clinic, clip__swim__given_at__isnull=False)
    first_of_swim = {
        film.clip.swim_id: film for film in films.select_related("clip").order_by("pk")
    }
    seen = list(first_of_swim.values())[:SWIMS]
    for film in seen:
        note_view(clip_file=film, by=coach)
    return len(seen)
