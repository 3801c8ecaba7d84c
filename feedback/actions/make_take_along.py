"""Making a still, a row of stills or a film: the job.

The fence is asked when it begins and again when it publishes: what may no longer be seen by who
asked for it is not made, and not kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.utils import timezone, translation
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _

from clinics.media.compose import compose_stills, save_still
from clinics.media.decode import read_pictures
from clinics.media.errors import MediaError, Stopped
from clinics.media.film import NOT_HERE, FilmView, make_film
from clinics.media.letters import Words
from clinics.media.sheet import Sheet, film_sheet, row_sheet, still_sheet
from clinics.views.words import sure_words
from feedback.actions.clip_clocks import ClipFilm, film_of
from feedback.actions.frames import FrameUnknown
from feedback.actions.print_drawings import drawings_for, overlay_of
from feedback.actions.take_along import FILE_KIND, KEEPING_RULE, clips_of, earliest_of, span_s
from feedback.compute.take_along import (
    Kind,
    Spec,
    SpecWrong,
    film_frames,
    film_ticks,
    row_frames,
    spec_of,
)
from feedback.models import Drawing, TakeAlong
from portal.actions import files
from portal.actions.job_runs import CANCELLED, JobFailed, JobStopped, published_with_job
from portal.models import Job

if TYPE_CHECKING:
    from clinics.models import Swim

FILM_SHARE = 0.97
"""Of a film's progress: its pictures. The rest is putting it in place."""

Pulse = Callable[..., None]


def run_make(job: Job, pulse: Pulse) -> None:
    """The job of kind "make-take-along"."""
    rows = TakeAlong.objects.select_related(
        "asked_by", "swim__entry__swimmer", "swim__entry__clinic__club"
    )
    row = rows.filter(pk__in=[job.subject_id]).first()
    if row is not None and row.state != TakeAlong.State.READY:
        with translation.override(row.asked_by.language):
            make(row, pulse)


def make_failed(job: Job) -> None:
    """The job ended for good; the row says why."""
    rows = TakeAlong.objects.filter(pk__in=[job.subject_id]).exclude(state=TakeAlong.State.READY)
    rows.update(state=TakeAlong.State.FAILED, reason=job.reason)


def make(row: TakeAlong, pulse: Pulse) -> None:
    """Make the file and publish it together with the row; what is ready is left alone."""
    _need_visible(row)
    TakeAlong.objects.filter(pk=row.pk).update(state=TakeAlong.State.WAITING, reason="")
    try:
        spec = spec_of(row.spec)
        clips = clips_of(spec, row.swim, row.asked_by)
        films = [film_of(clip, row.asked_by) for clip in clips]
        with files.work_dir(f"take-along-{row.pk.hex}") as folder:
            path = _make_into(folder, _Order(row, spec, films), pulse)
            pulse(FILM_SHARE)
            _publish(row, path, span_s(spec, films[0]))
    except Stopped as stop:
        raise JobStopped(getattr(pulse, "why", "") or CANCELLED) from stop
    except (FrameUnknown, SpecWrong) as problem:
        raise JobFailed(_("A picture of it is no longer there. Ask for it again.")) from problem
    except MediaError as problem:
        raise JobFailed(problem.message) from problem


def _need_visible(row: TakeAlong) -> None:
    if not TakeAlong.objects.visible_to(row.asked_by).filter(pk=row.pk).exists():
        raise JobFailed(
            _(
                "One of its views may no longer be shown to you, or was made again since. "
                "Nothing was made."
            )
        )


def _publish(row: TakeAlong, path: Path, at_s: list[float] | None) -> None:
    with published_with_job():
        locked = TakeAlong.objects.select_for_update(of=("self",)).filter(pk=row.pk).first()
        if locked is None or locked.state == TakeAlong.State.READY:
            return
        _need_visible(row)
        stored = files.publish(
            temporary=path,
            area="media",
            kind=FILE_KIND,
            club=row.swim.entry.clinic.club,
            keeping_rule=KEEPING_RULE,
            content_type="video/mp4" if path.suffix == ".mp4" else "image/jpeg",
            suffix=path.suffix,
        )
        stored.delete_by = earliest_of(row)  # the row that says of which clips comes after it
        stored.save(update_fields=["delete_by"])
        locked.stored, locked.state, locked.reason = stored, TakeAlong.State.READY, ""
        locked.spec = {**locked.spec, "at_s": at_s}
        locked.made_at = timezone.now()
        locked.save(update_fields=["stored", "state", "reason", "spec", "made_at"])


@dataclass(frozen=True, eq=False)
class _Order:
    """What is to be made, and of what."""

    row: TakeAlong
    spec: Spec
    films: list[ClipFilm]


def _make_into(folder: Path, order: _Order, pulse: Pulse) -> Path:
    if order.spec.kind is Kind.FILM:
        return _film(folder / "film.mp4", order, pulse)
    return _stills(folder / "stills.jpg", order)


def _stills(path: Path, order: _Order) -> Path:
    spec, film = order.spec, order.films[0]
    frames, sheet = [spec.from_frame], still_sheet(film.size)
    if spec.kind is Kind.ROW:
        frames = row_frames(film.clock.ticks, spec.from_frame, spec.to_frame, spec.count)
        sheet = row_sheet(film.size, len(frames))
    size = (sheet.cells[0].width, sheet.cells[0].height)
    name = spec.names[0]
    video = film.video(name)
    boxed = settings.REQUIRE_SANDBOX
    pictures = read_pictures(video, frames, size, require_sandbox=boxed)
    drawn = [drawings_for(order.row, film, frame) if spec.drawings else [] for frame in frames]
    overlays = [overlay_of(drawings, *size) if drawings else None for drawings in drawn]
    words = [
        _with_angle(_below(film, name, frame), drawings)
        for frame, drawings in zip(frames, drawn, strict=True)
    ]
    save_still(compose_stills(sheet, pictures, overlays, words, _head(order)), path)
    return path


def _film(path: Path, order: _Order, pulse: Pulse) -> Path:
    spec, films = order.spec, order.films
    frames = film_frames([film.clock for film in films], spec.from_frame, spec.to_frame)
    sheet: Sheet = film_sheet([film.size for film in films])
    make_film(
        path,
        sheet=sheet,
        views=[
            FilmView(film.video(name), frames[:, n], partial(_below, film, name))
            for n, (film, name) in enumerate(zip(films, spec.names, strict=True))
        ],
        ticks=film_ticks(films[0].clock.ticks, spec.from_frame, spec.to_frame, spec.slower),
        head=_head(order),
        not_here=_("Not filmed from here at this instant"),
        on_progress=lambda share: pulse(share * FILM_SHARE),
        require_sandbox=settings.REQUIRE_SANDBOX,
    )
    return path


# --- words ------------------------------------------------------------------------------------


def _below(film: ClipFilm, name: str, frame: int) -> Words:
    """The time of the frame within the swim, which view it is, and how sure the time is."""
    if frame == NOT_HERE:
        return Words(plain=name)
    if not film.knows_time:
        return Words(plain=name, aside=sure_words(film.sure))
    at = number_format(round(film.clock.begins_s(frame), 2) + 0.0, 2)  # no "-0.00"
    return Words(_("%(at)s s") % {"at": at}, name, sure_words(film.sure))


def _with_angle(words: Words, drawings: list[Drawing]) -> Words:
    """An angle in a picture is not the one in the body, and a printed figure says so, too."""
    if not any(drawing.kind == Drawing.Kind.JOINT for drawing in drawings):
        return words
    aside = " · ".join(filter(None, (_("angle as seen"), words.aside)))
    return replace(words, aside=aside)


def _head(order: _Order) -> Words:
    """Who swam what, where and when. Without the name if that was asked for."""
    swim = order.row.swim
    clinic = swim.entry.clinic
    named = order.spec.named
    aside = f"{clinic.club.name}, {date_format(clinic.date, 'DATE_FORMAT')}"
    if order.spec.kind is Kind.FILM and order.spec.rate != "1":
        aside = f"{aside} · {_('speed %(rate)s') % {'rate': order.spec.rate}}"
    return Words(swim.entry.swimmer.name if named else "", swum(swim), aside)


def swum(swim: Swim) -> str:
    """“freestyle, 50 m”."""
    entry = swim.entry
    metres = number_format(entry.clinic.distance_m, 2).rstrip("0").rstrip(".,")
    return f"{entry.get_stroke_display()}, {metres} m"
