"""What a swimmer takes along of clinics: who they are there, their swims and clips, what they
answered. Through the fence: only what they see themselves just now, and nothing about others."""

from __future__ import annotations

from django.db.models import Prefetch, QuerySet
from django.utils.translation import gettext as _

from clinics.actions.consent_receipt import receipt_of
from clinics.compute.time import iso_utc
from clinics.models import Clip, ClipFile, Consent, Entry, Swim, Swimmer
from portal.actions.export import Pack, file_name
from portal.registry import PersonStep

READ_ME = "README.txt"


def own_swims(pack: Pack) -> QuerySet[Swim]:
    """Swims of this swimmer that the swimmer sees."""
    seen = Swim.objects.visible_to(pack.user).filter(entry__swimmer=pack.person.id)
    return seen.select_related("entry__clinic", "entry__swimmer").order_by("start_at")


def own_clips(pack: Pack) -> QuerySet[Clip]:
    seen = Clip.objects.visible_to(pack.user).filter(swim__entry__swimmer=pack.person.id)
    return seen.select_related(
        "station", "recording__clock_fit", "swim__entry__clinic", "swim__entry__swimmer"
    )


def folder_of(swim: Swim) -> str:
    clinic = swim.entry.clinic
    return f"swims/{clinic.date:%Y-%m-%d}-{file_name(clinic.name)}-{swim.go}"


def clip_name(clip: Clip) -> str:
    """Without its suffix; the words said over it have the same name."""
    return f"{folder_of(clip.swim)}/{file_name(clip.station.name)}-{clip.pass_no}"


# --- who, and what was answered ------------------------------------------------------------------


def put_person(pack: Pack) -> None:
    pack.text(READ_ME, _read_me())
    swimmer = Swimmer.objects.get(pk=pack.person.id)
    pack.data(
        "person.json",
        {
            "name": swimmer.name,
            "email": swimmer.email,
            "said_to_be_an_adult_at": iso_utc(swimmer.adult_attested_at),
            "on_the_roster_since": iso_utc(swimmer.created_at),
            "club": {"name": pack.person.club.name, "contact": pack.person.club.contact_email},
        },
    )
    entries = Entry.objects.filter(swimmer=swimmer).select_related("clinic", "lane_group")
    header = ("clinic", "venue", "date", "number", "lane", "stroke", "pace_s_per_100m")
    pack.table(
        "entries",
        header,
        (
            (
                e.clinic.name,
                e.clinic.venue,
                e.clinic.date,
                e.number,
                e.lane_group.name,
                e.stroke,
                e.pace_s_per_100m,
            )
            for e in entries.order_by("clinic__date")
        ),
    )


def _read_me() -> str:
    return _(
        "What the club keeps about you on this site, as you see it there today.\n\n"
        "person.json     who you are on the club's rosters\n"
        "entries         the clinics that you were entered in\n"
        "sign-ups        what you signed up for, and what you wrote for the coaches\n"
        "consent         what you were asked and answered, with the words that you agreed to;\n"
        "                in the folder receipts the receipt of each\n"
        "swims           your swims; in the folder swims your clips, in their largest size, and\n"
        "                what was said over each (.vtt, beside the film of the same name)\n"
        "comments, drawings, feedback, take-home    what was said, drawn and given to you\n"
        "marks, measures, length-strokes    what was marked, and what follows from it, with its ±\n"
        "body-points, body-angles    where your body was in single frames\n"
        "contents.json   every file with its SHA-256\n\n"
        "Tables are there twice: as JSON for programs, as CSV for a spreadsheet. Times are UTC.\n"
    )


def put_consent(pack: Pack) -> None:
    rows = Consent.objects.filter(swimmer=pack.person.id).select_related("text", "clinic")
    header = (
        *("purpose", "choice", "given_at", "ended_at", "method", "clinic"),
        *("text_version", "text_language", "text_sha256", "text"),
    )
    pack.table("consent", header, (_answer(row) for row in rows.order_by("given_at")))
    for row in rows.select_related("swimmer__club").order_by("given_at"):
        pack.data(f"receipts/{row.purpose}-{row.pk}.json", receipt_of(row))


def _answer(row: Consent) -> tuple[object, ...]:
    text = row.text
    shown = (text.version, text.language, text.text_sha256, text.text) if text else (None,) * 4
    return (
        *(row.purpose, row.choice, iso_utc(row.given_at), iso_utc(row.ended_at), row.method),
        *(row.clinic.name if row.clinic else None, *shown),
    )


# --- swims and clips -----------------------------------------------------------------------------


def put_swims(pack: Pack) -> None:
    header = ("clinic", "venue", "date", "started_at", "stroke", "go", "distance_m", "folder")
    pack.table(
        "swims",
        header,
        (
            (
                s.entry.clinic.name,
                s.entry.clinic.venue,
                s.entry.clinic.date,
                iso_utc(s.start_at),
                s.entry.stroke,
                s.go,
                s.entry.clinic.distance_m,
                folder_of(s),
            )
            for s in own_swims(pack)
        ),
    )
    for clip in _with_files(pack):
        _put_clip(pack, clip)


def _with_files(pack: Pack) -> QuerySet[Clip]:
    files = ClipFile.objects.visible_to(pack.user).select_related("stored")
    files = files.filter(kind__in=[ClipFile.Kind.VIDEO, ClipFile.Kind.SOUND]).order_by("-height")
    return own_clips(pack).prefetch_related(Prefetch("files", files, to_attr="seen_files"))


def _put_clip(pack: Pack, clip: Clip) -> None:
    """The largest rendition, and the sound where the clinic lets swimmers hear it."""
    files: list[ClipFile] = clip.seen_files  # type: ignore[attr-defined]
    film = next((file for file in files if file.kind == ClipFile.Kind.VIDEO), None)
    sound = next((file for file in files if file.kind == ClipFile.Kind.SOUND), None)
    if film is None:
        return
    pack.clips.append(str(clip.pk))
    pack.file(f"{clip_name(clip)}.mp4", film.stored)
    if sound is not None:
        pack.file(f"{clip_name(clip)}.m4a", sound.stored)


def still_seen(ids: list[str], user: object) -> bool:
    """May the user see all of these clips just now?"""
    return Clip.objects.visible_to(user).filter(pk__in=ids).count() == len(ids)  # type: ignore[arg-type]


STEPS = (
    PersonStep(name="person", order=10, run=put_person),
    PersonStep(name="consent", order=20, run=put_consent),
    PersonStep(name="swims", order=30, run=put_swims),
)
