"""Taking an act back: the rows as they were, if nothing has happened to them since."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.align import ask_to_align
from clinics.actions.board import state
from clinics.actions.board.acts import lock_clinic
from clinics.actions.board.ends import ask_to_render_now
from clinics.actions.board.said import somebody_spoke
from clinics.actions.check_rows import CheckRefused
from clinics.actions.clip_files import cancel_render, remove_clip
from clinics.actions.clip_source import original_is_there
from clinics.actions.dropped import may_be_made
from clinics.actions.keeping import begin_deletion_of, lift_deletion
from clinics.actions.pass_on import who_agrees
from clinics.models import BoardAct, Clinic, Clip, ClockFit, Recording, StartLogEntry, Swim
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.actions.board.state import State
    from portal.models import User

Kind = BoardAct.Kind
PLACING = {Kind.NUDGE, Kind.ENDS, Kind.CUT}
# Which fields an act changes; these are put back.
CHANGED = {
    Kind.CONFIRM: state.PERSON,
    Kind.OTHERS: state.OTHERS,
    **dict.fromkeys(PLACING, state.PLACED),
}
PEOPLE = (*state.WHOSE, *state.PERSON, *state.OTHERS, *state.PASSED)
# Which fields must still be as the act left them.
LOOKED_AT = {
    Kind.CONFIRM: (*state.PERSON, "entry_id", "passed_at", "given_at"),
    Kind.OTHERS: (*state.OTHERS, "entry_id", "passed_at", "given_at"),
    **dict.fromkeys(PLACING, (*state.SPAN, "window_by", "swim_id")),
}


def last_act(clinic: Clinic, by: User) -> BoardAct | None:
    """What `by` did last on this clinic's board and has not taken back."""
    mine = BoardAct.objects.filter(clinic=clinic, by=by, undone_at__isnull=True)
    return mine.order_by("-at", "-pk").first()


@transaction.atomic
def undo(*, act: BoardAct, by: User) -> BoardAct:
    """Put the rows back exactly as they were before the act.

    Refused, with a sentence that says what, if any of them changed since. Files whose span
    comes back are made again. A mail that told a swimmer of a given swim cannot be unsent.
    """
    clinic = lock_clinic(act.clinic_id, by)
    act = BoardAct.objects.select_for_update(of=("self",)).get(pk=act.pk)
    if act.undone_at is not None:
        raise CheckRefused(_("This was undone already."))
    kind = Kind(act.kind)
    _refuse_changed(act, kind)
    _take_away(act, kind, by)
    state.put_back(act.before, CHANGED.get(kind, PEOPLE))
    _follow(act, kind, by)
    act.undone_at, act.undone_by = timezone.now(), by
    act.save(update_fields=["undone_at", "undone_by"])
    record(
        action="board.undo",
        by=by,
        subject=act,
        club=clinic.club,
        detail={"act": str(act.pk), "kind": act.kind},
    )
    _plan_again(act, kind, clinic, by)
    return act


# --- may it be undone -------------------------------------------------------------------------


def _refuse_changed(act: BoardAct, kind: BoardAct.Kind) -> None:
    now = state.read(act.after)
    changed = state.differing(act.after, now, LOOKED_AT.get(kind, PEOPLE))
    told = [words for key, names in changed.items() for words in _what(act.after, now, key, names)]
    if kind in PLACING and not told:
        told = _cannot_be_made(act.before)
    if kind == Kind.ADD_SWIM and not told:
        told = _hangs_on(act)
    if kind == Kind.NO_SWIM and not told:
        told = _in_the_way(act.before)
    if told:
        what = "; ".join(dict.fromkeys(told))
        raise CheckRefused(
            _("This cannot be undone, since things changed after it: %(what)s.") % {"what": what}
        )


def _what(then: State, now: State, key: str, names: set[str]) -> list[str]:
    """What happened to one row since, in words."""
    kind, pk = key.split(":")
    if kind == "clip":
        clip = Clip.objects.filter(pk=pk).select_related("station", "swim__entry__swimmer").first()
        if clip is None:
            return [_("a clip is gone")]
        about = {"name": clip.swim.entry.swimmer.name, "station": clip.station.name}
        return [_("the clip of %(name)s at %(station)s was moved") % about]
    if kind != "swim":
        return [_("who else can be recognised was recorded anew")]
    swim = Swim.objects.filter(pk=pk).select_related("entry__swimmer").first()
    if swim is None:
        return [_("the swim is no longer on the board")]
    name = {"name": swim.entry.swimmer.name}
    told = []
    if names & {"row"}:
        told.append(_("%(name)s's swim is on the board again") % name)
    if names & set(state.WHOSE):
        told.append(_("the swim is noted for %(name)s") % name)
    if names & set(state.PERSON):
        told.append(_("somebody looked at who is in %(name)s's swim") % name)
    if names & set(state.OTHERS):
        told.append(_("somebody recorded who else is in %(name)s's swim") % name)
    if names & set(state.PASSED):
        told.append(_("%(name)s's swim was passed on, given or taken back") % name)
    return told


def _hangs_on(act: BoardAct) -> list[str]:
    """What a person placed on a swim since it was added."""
    swim = Swim.objects.filter(pk=act.facts["swim"]).first()
    if swim is None:
        return [_("the swim is no longer on the board")]
    told = []
    if swim.clips.filter(window_by="person").exists():
        told.append(_("somebody placed a clip of the swim"))
    if swim.ties.filter(found_by="person", placed_at__gt=act.at).exists():
        told.append(_("somebody tied a recording to its start"))
    if somebody_spoke(swim):
        told.append(_("somebody said something about the swim"))
    return told


def _in_the_way(before: State) -> list[str]:
    """What keeps a swim that was taken away from coming back."""
    told = []
    for key, values in before.items():
        if values is None:
            continue
        if key.startswith("swim:"):
            same = Swim.objects.filter(entry_id=values["entry_id"], go=values["go"])
            line = Swim.objects.filter(log_entry_id=values["log_entry_id"])
            if same.exists() or (values["log_entry_id"] and line.exists()):
                told.append(_("the swimmer has another swim in its place"))
            taken_back = StartLogEntry.objects.filter(
                pk=values["log_entry_id"], undone_at__isnull=False
            )
            if values["log_entry_id"] and taken_back.exists():
                told.append(_("its line in the start log was taken back"))
        elif "recording_id" in values and not _is_there(values["recording_id"]):
            told.append(_("a recording is gone"))
    return told


def _cannot_be_made(before: State) -> list[str]:
    """A clip is not made wider again when its originals are gone."""
    rows = [values["recording_id"] for key, values in before.items() if values and "clip:" in key]
    recordings = Recording.objects.filter(pk__in=rows)
    gone = any(not original_is_there(recording) for recording in recordings)
    return [_("the originals are deleted")] if gone else []


def _is_there(recording_id: str) -> bool:
    return Recording.objects.filter(pk=recording_id).exists()


# --- doing it -------------------------------------------------------------------------------------


def _take_away(act: BoardAct, kind: BoardAct.Kind, by: User) -> None:
    """Rows that the act made."""
    if kind == Kind.ADD_SWIM:
        swim = Swim.objects.get(pk=act.facts["swim"])
        for clip in swim.clips.all():
            remove_clip(clip=clip, by=by)
        swim.delete()
        lines = StartLogEntry.objects.filter(pk=act.facts["line"], undone_at__isnull=True)
        lines.update(undone_at=timezone.now())
    elif kind == Kind.CUT:
        for key, values in act.before.items():
            made = Clip.objects.filter(pk=key.split(":")[1]).first()
            if values is None and made is not None:
                remove_clip(clip=made, by=by)


def _follow(act: BoardAct, kind: BoardAct.Kind, by: User) -> None:
    """What hangs on the rows: files to be made again, dates by which things go."""
    for key, values in act.before.items():
        what, pk = key.split(":")
        if values is None:
            continue
        if what == "clip" and (kind in PLACING or kind == Kind.NO_SWIM):
            fit = ClockFit.objects.filter(recording_id=values["recording_id"]).first()
            time_state = fit.state if fit else ClockFit.State.NOT_FOUND
            fresh = {"state": Clip.State.WAITING, "reason": "", "time_state": time_state}
            Clip.objects.filter(pk=pk).update(**fresh)
            ask_to_render_now(Clip.objects.get(pk=pk), by)
        elif what == "swim" and kind in (Kind.SWAP, Kind.REASSIGN, Kind.NO_SWIM):
            _date(Swim.objects.select_related("entry__swimmer").get(pk=pk), by)


def _date(swim: Swim, by: User) -> None:
    """The swim is kept as its swimmer, who it now is again, agrees today."""
    swimmer = swim.entry.swimmer
    if swimmer.pk in who_agrees([swim]):
        lift_deletion(swimmer=swimmer)
        return
    begin_deletion_of(swims=Swim.objects.filter(pk=swim.pk), withdrawn_at=timezone.now())
    for clip in swim.clips.all():
        cancel_render(clip, by)


def _plan_again(act: BoardAct, kind: BoardAct.Kind, clinic: Clinic, by: User) -> None:
    """Windows follow the pace of whoever swims, and the fit of today."""
    fitted = ClockFit.objects.filter(recording__station__clinic=clinic, fitted_at__gt=act.at)
    whose = {Kind.SWAP, Kind.REASSIGN, Kind.NO_SWIM, Kind.ADD_SWIM}
    if kind in whose or fitted.exists() or _reaches_into_dropped(act):
        ask_to_align(clinic=clinic, by=by)


def _reaches_into_dropped(act: BoardAct) -> bool:
    """Somebody's consent ended meanwhile: the next plan cuts around them."""
    pks = [key.split(":")[1] for key in act.before if key.startswith("clip:")]
    return any(not may_be_made(clip) for clip in Clip.objects.filter(pk__in=pks))
