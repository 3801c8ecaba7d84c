"""What is said, drawn, marked, measured and made to take along of a swim."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from feedback.compute.take_along import Kind, Spec
from feedback.models import (
    BodyPoints,
    Comment,
    Drawing,
    Mark,
    Phrase,
    PicturePlane,
    RateReading,
    TakeAlong,
    TakeHome,
)
from tests.cast import make_still, make_stored
from tests.feedback.two_swims import last_time
from tests.matrix.cast_things import CastThings
from tests.matrix.rows import SIGNED_IN, Row

ROWS: dict[str, Row] = {
    "feedback:my-swims": Row(get=SIGNED_IN),
    "feedback:seen": Row(get=SIGNED_IN),
    "feedback:waiting": Row(get=SIGNED_IN),
    "feedback:my-progress": Row(get=SIGNED_IN),
    "feedback:progress": Row("swim", get="SC"),
    "feedback:progress#not passed": Row("unchecked swim"),
    "feedback:progress#withdrawn": Row("withdrawn swim", get="X"),
    "feedback:progress#elsewhere": Row("swim elsewhere", get="cs"),
    "feedback:swim-pictures": Row("swim", get="SC"),
    "feedback:swim-pictures#not passed": Row("unchecked swim"),
    "feedback:swim-pictures#withdrawn": Row("withdrawn swim", get="X"),
    "feedback:swim-pictures#elsewhere": Row("swim elsewhere", get="cs"),
    "feedback:measures-out": Row(get=SIGNED_IN),
    "feedback:measures-csv": Row("clinic", get="C"),
    "feedback:measures-package": Row("clinic", get="C"),
    "feedback:swim": Row("swim", get="SC"),
    "feedback:swim#not passed": Row("unchecked swim"),
    "feedback:swim#withdrawn": Row("withdrawn swim", get="X"),
    "feedback:swim#elsewhere": Row("swim elsewhere", get="cs"),
    "feedback:say": Row("swim", post="SC"),
    "feedback:compare": Row("swim", get="SC"),
    "feedback:compare#withdrawn": Row("withdrawn swim", get="X"),
    "feedback:compare-with": Row("swim and another", get="C"),
    "feedback:compare-with#own": Row("two swims of one", get="SC"),
    "feedback:compare-with#withdrawn": Row("swim and a withdrawn one"),
    "feedback:compare-with#elsewhere": Row("swim and one elsewhere"),
    "feedback:mark": Row("swim", post="C"),
    "feedback:mark#withdrawn": Row("withdrawn swim"),
    "feedback:swim-measures": Row("swim", get="SC"),
    "feedback:swim-measures#withdrawn": Row("withdrawn swim", get="X"),
    "feedback:mark-zero": Row("mark", post="C"),
    "feedback:zero-as-found": Row("swim", post="C"),
    "feedback:measuring": Row("club", get="A", post="A"),
    "feedback:mark-take-away": Row("mark", post="C"),
    "feedback:length-strokes": Row("swim", post="C"),
    "feedback:length-strokes#withdrawn": Row("withdrawn swim"),
    "feedback:plane-place": Row("swim", post="C"),
    "feedback:plane-place#withdrawn": Row("withdrawn swim"),
    "feedback:plane-reading": Row("swim", get="SC"),
    "feedback:plane-reading#withdrawn": Row("withdrawn swim", get="X"),
    "feedback:plane-take-away": Row("plane of a swim", post="C"),
    "feedback:body": Row("swim", post="C"),
    "feedback:body#withdrawn": Row("withdrawn swim"),
    "feedback:body-table": Row("swim", post="C"),
    "feedback:body-take-away": Row("body points", post="C"),
    "feedback:draw": Row("swim", post="SC"),
    "feedback:draw#withdrawn": Row("withdrawn swim", post="X"),
    "feedback:drawing-move": Row("drawing", post="C"),
    "feedback:drawing-stand": Row("drawing", post="C"),
    "feedback:drawing-rub-out": Row("drawing", post="C"),
    "feedback:rate-read": Row("swim", get="C", post="C"),
    "feedback:rate-read#not passed": Row("unchecked swim"),
    "feedback:rate-read#withdrawn": Row("withdrawn swim"),
    "feedback:rate-read-remove": Row("rate reading", post="C"),
    "feedback:take-along": Row("swim", get="SC", post="SC"),
    "feedback:take-along#not passed": Row("unchecked swim"),
    "feedback:take-along#withdrawn": Row("withdrawn swim", get="X", post="X"),
    "feedback:take-along-file": Row("still", get="C"),
    "feedback:take-along-file#for the swimmer": Row("still for the swimmer", get="SC"),
    "feedback:take-along-file#withdrawn": Row("withdrawn still", get="X"),
    "feedback:take-along-remove": Row("still for the swimmer", post="C"),
    "feedback:take-along-remove#withdrawn": Row("withdrawn still", post="X"),
    "feedback:take-home": Row("page taken home", get="SC"),
    "feedback:take-home#not given": Row("swim", get="C"),
    "feedback:take-home#not passed": Row("unchecked swim"),
    "feedback:take-home#withdrawn": Row("page of who withdrew", get="X"),
    "feedback:take-home#shown to the group": Row("group page", get="SC"),
    "feedback:take-home-pdf": Row("page taken home", get="SC"),
    "feedback:take-home-pdf#not given": Row("swim", get="C"),
    "feedback:take-home-pdf#withdrawn": Row("page of who withdrew", get="X"),
    "feedback:take-home-still": Row("still taken home", get="SC"),
    "feedback:take-home-choose": Row("swim", get="C", post="C"),
    "feedback:take-home-choose#withdrawn": Row("withdrawn swim"),
    "feedback:take-home-give": Row("swim", post="C"),
    "feedback:take-home-give#withdrawn": Row("withdrawn swim"),
    "feedback:take-home-take-back": Row("page taken home", post="C"),
    "feedback:take-home-make-stills": Row("swim", post="C"),
    "portal:job#still": Row("still job", get="C", post="C"),
    "feedback:give": Row("swim", post="C"),
    "feedback:words": Row("swim", post="C"),
    "feedback:words#withdrawn": Row("withdrawn swim"),
    "feedback:send": Row("swim", post="C"),
    "feedback:take": Row("swim", post="C"),
    "feedback:let-go": Row("swim", post="C"),
    "feedback:hand-on": Row("swim", post="C"),
    "feedback:share-out": Row("clinic", get="C", post="C"),
    "feedback:reply": Row("comment", post="SC"),
    "feedback:edit": Row("comment", get="C", post="C"),
    "feedback:edit#draft": Row("draft", get="C", post="C"),
    "feedback:reply#draft": Row("draft", post="C"),
    "feedback:reply#note": Row("note", post="C"),
    "feedback:edit#note": Row("note", get="C", post="C"),
    "feedback:edit#withdrawn": Row("withdrawn comment"),
    "feedback:reply#withdrawn": Row("withdrawn comment", post="X"),
    "feedback:send-one": Row("draft", post="C"),
    "feedback:send-one#sent": Row("comment", post="C"),
    "feedback:take-back": Row("comment", post="C"),
    "feedback:take-back#draft": Row("draft", post="C"),
    "feedback:take-back#note": Row("note", post="C"),
    "feedback:captions": Row("captions", get="SC"),
    "feedback:captions#withdrawn": Row("withdrawn captions", get="X"),
    "feedback:captions#not passed": Row("unchecked captions"),
}


class FeedbackThings(CastThings):
    def _two(self, other: str) -> dict[str, Any]:
        return {"pk": self.cast.swims["tomas"].pk, "other": self.cast.swims[other].pk}

    def swim_and_another(self) -> dict[str, Any]:
        return self._two("wren")

    def swim_and_a_withdrawn_one(self) -> dict[str, Any]:
        return self._two("sol")

    def swim_and_one_elsewhere(self) -> dict[str, Any]:
        return self._two("other")

    def two_swims_of_one(self) -> dict[str, Any]:
        return {"pk": self.cast.swims["tomas"].pk, "other": last_time(self.cast).pk}

    def comment(self, sent: bool = True, on: str = "tomas", **more: Any) -> dict[str, Any]:
        row = Comment.objects.create(
            swim=self.cast.swims[on],
            author=self.cast.coach,
            text="Press the chest down before the wall.",
            sent_at=timezone.now() if sent else None,
            **more,
        )
        return self._pk(row)

    def note(self) -> dict[str, Any]:
        return self.comment(for_coaches=True)

    def draft(self) -> dict[str, Any]:
        return self.comment(sent=False)

    def withdrawn_comment(self) -> dict[str, Any]:
        return self.comment(on="sol")

    def captions(self, on: str = "tomas") -> dict[str, Any]:
        return {"pk": self.cast.swims[on].pk, "clip": self.cast.clips[on][0].pk}

    def withdrawn_captions(self) -> dict[str, Any]:
        return self.captions("sol")

    def unchecked_captions(self) -> dict[str, Any]:
        self._unchecked()
        return self.captions()

    def phrase(self) -> dict[str, Any]:
        return self._pk(Phrase.objects.create(coach=self.cast.coach, text="Chest down."))

    def drawing(self) -> dict[str, Any]:
        """The coach's, and sent: a draft would be the coach's alone."""
        row = Drawing.objects.create(
            swim=self.cast.swims["tomas"],
            recording=self.cast.recordings["underwater"],
            pts_ticks=90_000,
            kind="level",
            points=[[0.5, 0.5]],
            width_px=640,
            height_px=360,
            author=self.cast.coach,
            sent_at=timezone.now(),
        )
        return self._pk(row)

    def _still(self, swim: str, by: Any, **more: Any) -> Any:
        clip = self.cast.clips[swim][0]
        row = TakeAlong.objects.create(
            **{"state": "ready", "made_at": timezone.now(), **more},
            swim=clip.swim,
            entry=clip.swim.entry,
            clip_count=1,
            kind="still",
            spec=Spec(Kind.STILL, (str(clip.pk),), ("Start side",), 3, 3).to_json(),
            asked_by=by,
            stored=make_stored(
                self.cast.harbour, make_still((9, 80, 99)), kind="take-along", suffix=".jpg"
            ),
        )
        row.clips.add(clip)
        return row

    def still(self) -> dict[str, Any]:
        return self._pk(self._still("tomas", self.cast.coach))

    def still_for_the_swimmer(self) -> dict[str, Any]:
        return self._pk(self._still("tomas", self.cast.coach, for_swimmer=True))

    def withdrawn_still(self) -> dict[str, Any]:
        """The swimmer's own; what a coach had made of it is nobody's any more."""
        self._still("sol", self.cast.coach)
        return self._pk(self._still("sol", self.cast.sol))

    def _taken_home(self, name: str, *stills: TakeAlong) -> dict[str, Any]:
        swim = self.cast.swims[name]
        choice = {"measures": [], "stills": [str(one.pk) for one in stills], "before": ""}
        TakeHome.objects.create(
            swim=swim, entry=swim.entry, choice=choice, given=choice, given_at=timezone.now()
        )
        return self._pk(swim)

    def page_taken_home(self) -> dict[str, Any]:
        return self._taken_home("tomas")

    def page_of_who_withdrew(self) -> dict[str, Any]:
        return self._taken_home("sol")

    def still_taken_home(self) -> dict[str, Any]:
        still = self._still("tomas", self.cast.coach, for_swimmer=True)
        return {**self._taken_home("tomas", still), "still": still.pk}

    def still_job(self) -> dict[str, Any]:
        row = self._still("tomas", self.cast.coach, state="waiting", for_swimmer=True)
        return self._pk(self._job("make-take-along", row, self.cast.coach))

    def mark(self) -> dict[str, Any]:
        clip = self.cast.clips["tomas"][0]
        row = Mark.objects.create(
            swim=clip.swim,
            recording=clip.recording,
            pts_ticks=clip.in_ticks,
            kind="breakout",
            placed_by=self.cast.coach,
        )
        return self._pk(row)

    def plane_of_a_swim(self) -> dict[str, Any]:
        clip = self.cast.clips["tomas"][0]
        row = PicturePlane.objects.create(
            recording=clip.recording,
            pts_ticks=clip.in_ticks,
            picture_width=640,
            picture_height=360,
            placed_by=self.cast.coach,
        )
        return {"pk": clip.swim_id, "plane": row.pk}

    def rate_reading(self) -> dict[str, Any]:
        clip = self._clip_of()
        row = RateReading.objects.create(
            swim=clip.swim,
            recording=clip.recording,
            clip=clip,
            from_ticks=clip.in_ticks,
            to_ticks=clip.out_ticks,
            stroke="freestyle",
            asked_by=self.cast.coach,
        )
        return self._pk(row)

    def body_points(self) -> dict[str, Any]:
        clip = self.cast.clips["tomas"][0]
        row = BodyPoints.objects.create(
            swim=clip.swim,
            recording=clip.recording,
            pts_ticks=clip.in_ticks,
            points={"vertex": [0.5, 0.5, 1.0]},
            picture_width=640,
            picture_height=360,
            placed_by=self.cast.coach,
        )
        return self._pk(row)
