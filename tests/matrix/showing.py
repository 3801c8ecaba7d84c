"""Showing on, and who else is in the picture (tests/showing.py makes the things)."""

from __future__ import annotations

from typing import Any

from tests import showing
from tests.matrix.feedback import FeedbackThings
from tests.matrix.rows import ANYONE, SIGNED_IN, Row

ROWS: dict[str, Row] = {
    "clinics:in-picture-tag": Row("swim", post="K"),
    "clinics:in-picture-tag#withdrawn": Row("withdrawn swim"),
    "clinics:in-picture-untag": Row("tagged", post="K"),
    "clinics:minor": Row("clip", get="SCK", post="SCK"),
    "clinics:minor#withdrawn": Row("withdrawn clip", get="X", post="X"),
    "clinics:minor#reported": Row("reported clip"),
    "clinics:clip-file#a minor in it": Row("reported video"),
    "clinics:minor-report": Row("minor report", get="KA", post="KA"),
    "clinics:minor-film": Row("minor report", get="K"),
    "clinics:showing": Row("club", get="KA"),
    "clinics:publication-agree": Row("asked publication", post="A"),
    "clinics:publication-refuse": Row("asked publication", post="A"),
    "feedback:group": Row(get=SIGNED_IN),
    "feedback:swim#shown to the group": Row("group swim", get="SWXC"),
    "clinics:clip-file#shown to the group": Row("group video", get="SWXCK"),
    "clinics:clip-file#sound, shown to the group": Row("group sound", get="CK"),
    "feedback:say#shown to the group": Row("group swim", post="SC"),
    "feedback:take-along#shown to the group": Row("group swim", get="SC", post="SC"),
    "feedback:compare#shown to the group": Row("group swim", get="SC"),
    "feedback:captions#shown to the group": Row("group captions", get="SC"),
    "feedback:shown": Row(get=SIGNED_IN),
    "feedback:swim-show": Row("swim", get="S", post="S"),
    "feedback:swim-show#withdrawn": Row("withdrawn swim", get="X", post="X"),
    "feedback:swim-show#not passed": Row("unchecked swim"),
    "feedback:share-end": Row("share", post="S"),
    "feedback:publish": Row("clip", post="S"),
    "feedback:publication-end": Row("asked publication", post="S"),
    "feedback:shelf": Row(get="Cc"),
    "feedback:shelf-clip": Row("shelf clip", get="Cc"),
    "feedback:shelf-clip#withdrawn": Row("withdrawn shelf clip"),
    "clinics:clip-file#on the shelf": Row("shelf video", get="SCKc"),
    "clinics:clip-file#sound, on the shelf": Row("shelf sound", get="CK"),
    "feedback:swim#on the shelf": Row("shelf swim", get="SC"),
    "feedback:shelf-put": Row("clip", get="C", post="C"),
    "feedback:shelf-end": Row("shelf clip", post="SC"),
    "feedback:shared-link": Row("share link", get=ANYONE),
    "feedback:shared": Row(get=ANYONE, post=ANYONE),
    "feedback:shared-file": Row("video"),  # for who opened a link: tests/feedback/test_share.py
    "feedback:shared-minor": Row("clip"),
    "feedback:published": Row("published clip", get=ANYONE),
    "feedback:published#not": Row("clip"),
    "feedback:published-file": Row("published video", get=ANYONE),
    "feedback:published-file#not": Row("video"),
    "feedback:published-file#sound": Row("published sound"),
    "feedback:published-minor": Row("published clip", post=ANYONE),
    "feedback:phrases": Row(get="Cc", post="Cc"),
    "feedback:phrase": Row("phrase", get="C", post="C"),
    "feedback:phrase-remove": Row("phrase", post="C"),
}


class ShowingThings(FeedbackThings):
    def tagged(self) -> dict[str, Any]:
        return self._pk(showing.tag(self.cast, self._clip_of(), "wren"))

    def _reported(self) -> Any:
        return showing.report(self.cast, self._clip_of())

    def reported_clip(self) -> dict[str, Any]:
        self._reported()
        return self.clip()

    def reported_video(self) -> dict[str, Any]:
        self._reported()
        return self.video()

    def minor_report(self) -> dict[str, Any]:
        return self._pk(self._reported())

    def asked_publication(self) -> dict[str, Any]:
        return self._pk(showing.publication(self.cast, self._clip_of(), agreed=False))

    def _for_the_group(self) -> None:
        showing.agree(self.cast, "tomas", "show-to-group")

    def group_swim(self) -> dict[str, Any]:
        self._for_the_group()
        return self.swim()

    def group_page(self) -> dict[str, Any]:
        self.group_swim()
        return self._taken_home("tomas")

    def group_video(self) -> dict[str, Any]:
        self._for_the_group()
        return self.video()

    def group_sound(self) -> dict[str, Any]:
        self._for_the_group()
        return self.sound()

    def group_captions(self) -> dict[str, Any]:
        self._for_the_group()
        return self.captions()

    def share(self) -> dict[str, Any]:
        return self._pk(showing.link(self.cast)[0])

    def share_link(self) -> dict[str, Any]:
        return {"token": showing.link(self.cast)[1]}

    def _shelf(self) -> Any:
        showing.agree(self.cast, "tomas", "coach-education")
        return showing.put_on_shelf(self.cast, self._clip_of())

    def shelf_clip(self) -> dict[str, Any]:
        return self._pk(self._shelf())

    def withdrawn_shelf_clip(self) -> dict[str, Any]:
        showing.agree(self.cast, "sol", "coach-education")
        return self._pk(showing.put_on_shelf(self.cast, self._clip_of("sol")))

    def shelf_video(self) -> dict[str, Any]:
        self._shelf()
        return self.video()

    def shelf_sound(self) -> dict[str, Any]:
        self._shelf()
        return self.sound()

    def shelf_swim(self) -> dict[str, Any]:
        self._shelf()
        return self.swim()

    def _publish(self) -> Any:
        showing.agree(self.cast, "tomas", "publish")
        return showing.publication(self.cast, self._clip_of())

    def published_clip(self) -> dict[str, Any]:
        self._publish()
        return self.clip()

    def published_video(self) -> dict[str, Any]:
        self._publish()
        return self.video()

    def published_sound(self) -> dict[str, Any]:
        self._publish()
        return self.sound()
