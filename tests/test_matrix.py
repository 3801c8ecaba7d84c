"""Role × URL × owner (trust 2 and 3; ASVS 8.2.1, 8.2.2, 8.4.1): every URL, the whole cast.

`MATRIX` says for each URL who is let through. Whoever is not gets, on every verb and for a
byte range too, exactly the answer that a random id gives. A URL that is missing here fails.

Who: S the swimmer whose things these are, W another swimmer of the clinic, X a swimmer who
withdrew, C coach, K checker, R crew, A club admin; of the other club c coach, a admin (and
checker there), s swimmer; - nobody signed in.
"""

from __future__ import annotations

import base64
import datetime as dt
import re
import subprocess
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pytest
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.db import transaction
from django.test import Client
from django.urls import NoReverseMatch, URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from clinics.actions.consent_ask import make_link
from clinics.actions.consent_texts import publish_defaults
from clinics.actions.sign_up_mail import personal_token
from clinics.actions.try_out import Who
from clinics.actions.try_out import begin as begin_try_out
from clinics.media.probe import probe
from clinics.media.sandbox import Limits
from clinics.models import (
    Clip,
    ClipMask,
    Custody,
    SignUp,
    SignUpSheet,
    StationMask,
    Tie,
    TryOut,
    TryOutFile,
    Upload,
)
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
from portal.actions.jobs import enqueue
from portal.middleware import OPEN_TO_ANYONE
from portal.models import Hold, PersonRequest
from tests import showing
from tests.cast import FIRST_START, Cast, make_still, make_stored, save_frame_table, sign_in
from tests.feedback.two_swims import last_time

SIGNED_IN = "SWXCKRAcas"
ANYONE = SIGNED_IN + "-"
WORK_HERE = "CKRA"
WORK = WORK_HERE + "ca"
RARE = ("PUT", "PATCH", "DELETE", "OPTIONS")
STRANGERS_ON_HEAD, STRANGERS_ON_RARE = "WXc-", "X-"  # these of the strangers ask so, for time
FILES = re.compile("file|film|strip|frame|card|captions|csv|pdf|json|receipt|sheet")
"""URLs that serve files: there everybody asks for a byte range, too; elsewhere it is rare."""


@dataclass(frozen=True)
class Row:
    """Who may use a URL, verb by verb; `of` names the thing in `Things` it is about."""

    of: str = ""
    get: str = ""
    post: str = ""
    head: str | None = None
    patch: str = ""
    delete: str = ""
    query: str = ""

    def may(self, verb: str) -> str:
        told = {"POST": self.post, "PATCH": self.patch, "DELETE": self.delete, "GET": self.get}
        if verb == "HEAD":
            return self.get if self.head is None else self.head
        return self.get if verb == "RANGE" else told.get(verb, "")

    def knows(self) -> set[str]:
        """Who may do anything at all with it, and so knows that it exists."""
        return set(self.get + self.post + (self.head or "") + self.patch + self.delete)


def verbs_of(row: Row, letter: str, name: str) -> list[str]:
    """GET and POST of everybody; HEAD and a byte range of all who may do something here and four
    strangers; what most URLs refuse, of one of those and two strangers."""
    knows = row.knows()
    on_head = letter in knows or letter in STRANGERS_ON_HEAD
    verbs = ["GET", "POST"]
    if on_head or FILES.search(name.split("#")[0]):
        verbs.append("RANGE")
    if on_head:
        verbs.append("HEAD")
    if row.patch or row.delete:
        rare = on_head
    else:
        rare = letter in STRANGERS_ON_RARE or letter == min(knows, default="")
    return [*verbs, *RARE] if rare else verbs


# A name may stand more than once, with what it is about after the #.
MATRIX: dict[str, Row] = {
    # portal
    "portal:home": Row(get=SIGNED_IN),
    "portal:notice": Row(get=ANYONE),
    "portal:language": Row(post=ANYONE),
    "portal:sign-in": Row(get=ANYONE, post=ANYONE),
    "portal:sign-in-code": Row(get=ANYONE, post=ANYONE),
    "portal:sign-in-confirm": Row(get=ANYONE),
    "portal:sign-in-passkey": Row(get=ANYONE, post=ANYONE),
    "portal:sign-out": Row(post=SIGNED_IN),
    "portal:account": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:session-end": Row("session", post="S"),
    "portal:sessions-end-others": Row(post=SIGNED_IN),
    "portal:fresh": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:fresh-code": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:fresh-go-on": Row(get=SIGNED_IN),
    "portal:factors": Row(get=SIGNED_IN),
    "portal:factor-use": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-use-passkey": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-app": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-passkey": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-recovery": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-remove": Row("factor", get="S", post="S"),
    "portal:my-people": Row(get="Aa"),
    "portal:people": Row("club", get="A", post="A"),
    "portal:access-record": Row("club", get="A"),
    "portal:membership-end": Row("membership", post="A"),
    "portal:requests": Row("club", get="A"),
    "portal:request-note": Row("club", get="A", post="A"),
    "portal:request-answer": Row("request", get="A", post="A"),
    "portal:erased": Row("erasure", get=ANYONE),
    "portal:job": Row("clip job", get="K", post="K"),
    "portal:job#clocks": Row("clinic job", get=WORK_HERE, post="K"),
    "portal:job#recording": Row("recording job", get="KR", post="R"),
    "portal:job#card": Row("upload job", get="R", post="R"),
    "portal:health": Row(get=WORK),
    "portal:health-live": Row(get=ANYONE),
    # plan and log
    "clinics:clinics": Row(get=SIGNED_IN),
    "clinics:clinic-new": Row(get="Aa", post="Aa"),
    "clinics:clinic-new-plan": Row(get="Aa", post="Aa"),
    "clinics:clinic-facts": Row("clinic", get="A", post="A"),
    "clinics:people": Row("clinic", get=WORK_HERE),
    "clinics:people-put": Row("clinic", post="A"),
    "clinics:people-take-off": Row("clinic", post="A"),
    "clinics:people-invite": Row("clinic", post="A"),
    "clinics:people-until": Row("clinic", post="A"),
    "clinics:people-dives": Row("clinic", post="A"),
    "clinics:tasks": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:task-tick": Row("admin task", post="A"),
    "clinics:task-tick#crew": Row("crew task", post="KRA"),
    "clinics:task-tick#checker": Row("checker task", post="KA"),
    "clinics:task-move": Row("admin task", post="A"),
    "clinics:task-remove": Row("admin task", post="A"),
    "clinics:clinic": Row("clinic", get=WORK_HERE),
    "clinics:clinic-cut": Row("clinic", post="KR"),
    "clinics:clinic-stop": Row("clinic", post="KR"),
    "clinics:clinic-progress": Row("clinic", get=WORK_HERE),
    "clinics:clinic-plan": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:venue": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:venue-copy": Row("clinic", post="A"),
    "clinics:cautions": Row("clinic", get=WORK_HERE, post=WORK_HERE),
    "clinics:papers": Row("clinic", get=WORK_HERE),
    "clinics:running-order-pdf": Row("clinic", get=WORK_HERE),
    "clinics:stations": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:stations-undo": Row("clinic", post="A"),
    "clinics:station": Row("station", get="A", post="A"),
    "clinics:station-move": Row("station", post="A"),
    "clinics:station-remove": Row("station", post="A"),
    "clinics:station-kit": Row("station", get=WORK_HERE, post="KRA"),
    "clinics:station-cards-pdf": Row("clinic", get=WORK_HERE),
    "clinics:number-cards-pdf": Row("clinic", get=WORK_HERE),
    "clinics:consent-status-pdf": Row("clinic", get="KRA"),
    "clinics:posts-pdf": Row("clinic", get=WORK_HERE),
    "clinics:calendar-file": Row("clinic", get=WORK_HERE),
    "clinics:try-out": Row("clinic", get="KRA", post="KRA"),
    "clinics:try-out-states": Row("try out", get="KRA"),
    "clinics:try-out-start": Row("try out", post="KRA"),
    "clinics:try-out-end": Row("try out", post="KRA"),
    "clinics:try-out-bring": Row("try out station", post="KRA"),
    "clinics:try-out-frame": Row("try out file", post="KR"),
    "clinics:try-out-still": Row("try out still", get="KR"),
    "clinics:clinic-roster": Row("clinic", get="A", post="A"),
    "clinics:pool-hour": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:running-order": Row("clinic", get="A", post="A"),
    "clinics:day-board": Row("clinic", get=WORK_HERE),
    "clinics:day-wish": Row("clinic", post=WORK_HERE),
    "clinics:day-station": Row("clinic", post="KR"),
    "clinics:sign-ups": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:sign-ups-csv": Row("clinic", get="A"),
    "clinics:sign-up-poster": Row("clinic", get=WORK_HERE),
    "clinics:sign-up-add": Row("sheeted clinic", get="A", post="A"),
    "clinics:sign-up-take-in": Row("clinic", get="A", post="A"),
    "clinics:sign-up-act": Row("listed sign up", post="A"),
    "clinics:sign-up-notes": Row("clinic", get="C"),
    "clinics:my-sign-ups": Row(get=SIGNED_IN),
    "clinics:my-sign-up": Row("own sign up", get="S"),
    "clinics:sign-up-link": Row("sheet link", get=ANYONE),
    "clinics:sign-up": Row(get=ANYONE, post=ANYONE),
    "clinics:sign-up-sent": Row(get=ANYONE),
    "clinics:sign-up-mine-link": Row("sign up link", get=ANYONE),
    "clinics:sign-up-mine": Row(get=ANYONE, post=ANYONE),
    "clinics:sign-up-mine-end": Row(post=ANYONE),
    "clinics:start-log": Row("clinic", get="KR", post="KR"),
    "clinics:start-log-undo": Row("clinic", post="KR"),
    "clinics:start-log-file": Row("clinic", get="KR", post="KR"),
    "clinics:start-log-clock": Row("clinic", get="KR"),
    "clinics:start-log-state": Row("clinic", get="KR"),
    "clinics:start-log-sync": Row("clinic", post="KR"),
    "clinics:start-log-shell": Row("clinic", get="KR"),
    "clinics:start-log-manifest": Row("clinic", get="KR"),
    "clinics:consent-pool-shell": Row("clinic", get="KR"),
    "clinics:offline-worker": Row(get=SIGNED_IN),
    "clinics:slate": Row("clinic", get="KR"),
    "clinics:slate-time": Row("clinic", get="KR"),
    "clinics:slate-codes": Row("clinic", get="KR"),
    # bring in and align
    "clinics:bring-in": Row("clinic", get="KR"),
    "clinics:bring-in-states": Row("clinic", get="KR"),
    "clinics:station-uploads": Row("station", get="KR"),
    "clinics:upload-form": Row("station", post="KR"),
    "clinics:tus": Row(
        post=SIGNED_IN
    ),  # the station stands in a header: test_an_upload_to_a_hidden_station…
    "clinics:upload": Row("upload", head="R", patch="R", delete="R"),
    "clinics:upload-take-in": Row("upload", post="R"),
    "clinics:upload-give-up": Row("upload", post="R"),
    "clinics:recording": Row("recording", get="KR"),
    "clinics:recording-strip": Row("recording", get="KR"),
    "clinics:recording-frames": Row("filmed", get="KR"),
    "clinics:recording-frame": Row("filmed frame", get="KR"),
    "clinics:recording-fit": Row("recording", get="KRA"),
    "clinics:recording-tie": Row("recording", post="KR"),
    "clinics:tie-two": Row("recording", get="KR", post="KR"),
    "clinics:recording-place": Row("recording", post="KR"),
    "clinics:recording-slow-motion": Row("recording", post="KR"),
    "clinics:tie-remove": Row("tie", post="KR"),
    "clinics:clinic-fit": Row("clinic", get="KRA"),
    "clinics:heard-starts": Row("clinic", get="KR", post="KR"),
    # check and consent
    "clinics:check": Row("clinic", get="K"),
    "clinics:check-confirm": Row("clinic", post="K"),
    "clinics:check-pass": Row("clinic", post="K"),
    "clinics:check-swap": Row("clinic", get="K", post="K"),
    "clinics:check-undo": Row("clinic", get="K", post="K"),
    "clinics:check-done": Row("clinic", post="K"),
    "clinics:close": Row("clinic", get="A", post="A"),
    "clinics:open-again": Row("clinic", post="A"),
    "clinics:check-swim": Row("swim", get="K", post="K"),
    "clinics:check-swim#not passed": Row("unchecked swim", get="K", post="K"),
    "clinics:check-swim#withdrawn": Row("withdrawn swim"),
    "clinics:check-whose": Row("swim", post="K"),
    "clinics:check-whose#not passed": Row("unchecked swim", post="K"),
    "clinics:check-whose#withdrawn": Row("withdrawn swim"),
    "clinics:check-card": Row("carded swim", get="K"),
    "clinics:check-card#withdrawn": Row("withdrawn swim"),
    "clinics:check-cut": Row("swim", post="K"),
    "clinics:check-cut#withdrawn": Row("withdrawn swim"),
    "clinics:check-clip-ends": Row("clip", post="K"),
    "clinics:check-clip-ends#withdrawn": Row("withdrawn clip"),
    "clinics:check-clip-nudge": Row("clip", post="K"),
    "clinics:check-clip-nudge#withdrawn": Row("withdrawn clip"),
    "clinics:check-add-swim": Row("clinic", get="K", post="K"),
    "clinics:station-masks": Row("station", get="KA", post="KA"),
    "clinics:station-uncover": Row("station mask", post="KA"),
    "clinics:clip-cover": Row("clip", post="K"),
    "clinics:clip-cover#withdrawn": Row("withdrawn clip"),
    "clinics:clip-uncover": Row("clip mask", post="K"),
    "clinics:clip-uncover#withdrawn": Row("withdrawn clip mask"),
    "clinics:not-me": Row("swim", get="S", post="S"),
    "clinics:clip-file": Row("video", get="SCK"),
    "clinics:clip-file#poster": Row("poster", get="SCK"),
    "clinics:clip-file#strip": Row("strip", get="SCK"),
    "clinics:clip-file#sound": Row("sound", get="CK"),
    "clinics:clip-file#not passed": Row("unchecked video", get="K"),
    "clinics:clip-file#withdrawn": Row("withdrawn video", get="X"),
    "clinics:clip-file#elsewhere": Row("video elsewhere", get="cas"),
    "clinics:clip-file-frames": Row("video", get="SCK"),
    "clinics:clip-file-frames#withdrawn": Row("withdrawn video", get="X"),
    "clinics:consent": Row("clinic", get="A"),
    "clinics:consent-record": Row("entry", post="A"),
    "clinics:consent-end": Row("entry", post="A"),
    "clinics:consent-csv": Row("clinic", get="A"),
    "clinics:consent-ask": Row("clinic", post="A"),
    "clinics:consent-blank": Row("asking clinic", get="A"),
    "clinics:consent-link": Row("entry", post="A"),
    "clinics:consent-paper": Row("entry", get="A", post="A"),
    "clinics:consent-pool": Row("clinic", get="KR", post="KR"),
    "clinics:consent-sheet": Row("signed sheet", get="SA"),
    "clinics:consent-texts": Row("club", get="A"),
    "clinics:consent-texts-begin": Row("club", post="A"),
    "clinics:consent-ask-again": Row("club", post="A"),
    "clinics:consent-text": Row("club text", get="A", post="A"),
    "clinics:my-consent": Row(get=SIGNED_IN),
    "clinics:my-consent-give": Row("choice", post="S"),
    "clinics:my-consent-end": Row("choice", post="S"),
    "clinics:sign-link": Row("personal link", get=ANYONE),
    "clinics:sign": Row(get=ANYONE, post=ANYONE),
    "clinics:sign-end": Row(post=ANYONE),
    "clinics:receipt": Row("answer", get="SA"),
    "clinics:receipt-pdf": Row("answer", get="SA"),
    "clinics:receipt-json": Row("answer", get="SA"),
    # one's own data
    "clinics:my-data": Row(get=SIGNED_IN),
    "clinics:my-data-take": Row("person", post="S"),
    "clinics:my-data-erase": Row("person", get="S", post="S"),
    "clinics:my-data-write": Row("person", post="S"),
    "clinics:my-data-file": Row("export", get="S"),
    "clinics:my-data-take-back": Row("erasure to come", post="S"),
    "clinics:my-data-swim": Row("swim", get="S", post="S"),
    "clinics:my-data-swim#not passed": Row("unchecked swim"),
    "clinics:my-data-swim#withdrawn": Row("withdrawn swim", get="X", post="X"),
    "clinics:my-data-swim#elsewhere": Row("swim elsewhere", get="s", post="s"),
    "portal:job#export": Row("export job", get="S", post="S"),
    # feedback
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
    # keeping, holds, copies outside
    "clinics:keeping": Row("club", get="A"),
    "clinics:keeping-rules": Row("club", get="A", post="A"),
    "clinics:clinic-keeping": Row("clinic", get="A"),
    "clinics:holds": Row("club", get="A"),
    "clinics:hold": Row("swim to hold", get="A", post="A"),
    "clinics:hold#of another club": Row("other swim to hold"),
    "clinics:hold-end": Row("hold", post="A"),
    "clinics:custody": Row("clinic", get="KRA", post="KRA"),
    "clinics:custody-note": Row("carrier", post="KRA"),
    # showing on, and who else is in the picture
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


def film(path: Path) -> None:
    """One second, 25 pictures."""
    source = ["-f", "lavfi", "-i", "testsrc=size=320x180:rate=25:duration=1"]
    codec = ["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-f", "mp4"]
    command = ["ffmpeg", "-nostdin", "-v", "error", "-y", *source, *codec, str(path)]
    subprocess.run(command, check=True, timeout=60)


# --- the things, and what a random one of the kind would be called ----------------------------


class Things:
    """What the URLs are about, made when asked for."""

    def __init__(self, cast: Cast) -> None:
        self.cast = cast

    def keys(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        """URL arguments of the thing, and the same with ids that nothing has."""
        made: dict[str, Any] = getattr(self, name.replace(" ", "_"))() if name else {}
        return made, {key: self._nothing(key, value) for key, value in made.items()}

    def _nothing(self, key: str, value: Any) -> Any:
        if isinstance(value, uuid.UUID):
            return uuid.uuid4()
        if key == "number":
            return value
        return 987_654 if isinstance(value, int) else "no-such-club"

    def _pk(self, row: Any) -> dict[str, Any]:
        return {"pk": row.pk}

    def club(self) -> dict[str, Any]:
        return {"slug": self.cast.harbour.slug}

    def try_out(self) -> dict[str, Any]:
        two = [Who(name="Ida Quist"), Who(name="Ove Lund")]
        begin_try_out(clinic=self.cast.clinic, who=two, attested=True, by=self.cast.crew)
        return self._pk(self.cast.clinic)

    def try_out_station(self) -> dict[str, Any]:
        return self.try_out() | {"station": self.cast.start_side.pk}

    def _try_out_file(self) -> TryOutFile:
        self.try_out()
        return TryOutFile.objects.create(
            try_out=TryOut.objects.get(),
            station=self.cast.start_side,
            state="judged",
            brought_by=self.cast.crew,
        )

    def try_out_file(self) -> dict[str, Any]:
        return self._pk(self._try_out_file())

    def try_out_still(self) -> dict[str, Any]:
        club = self.cast.harbour
        stored = make_stored(club, make_still((9, 9, 9)), kind="try-out-still", suffix=".jpg")
        return self._pk(self._try_out_file().stills.create(stored=stored, at_s=1.0))

    def admin_task(self) -> dict[str, Any]:
        return {"pk": self.cast.clinic.pk, "key": "permission"}

    def crew_task(self) -> dict[str, Any]:
        return {"pk": self.cast.clinic.pk, "key": "try-out"}

    def checker_task(self) -> dict[str, Any]:
        return {"pk": self.cast.clinic.pk, "key": "checked"}

    def membership(self) -> dict[str, Any]:
        return {"slug": self.cast.harbour.slug, "pk": self.cast.crew.memberships.get().pk}

    def person(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["tomas"].entry.swimmer)

    def _request(self, kind: str, state: str, **more: Any) -> PersonRequest:
        month = dt.timedelta(days=30)
        return PersonRequest.objects.create(
            kind=kind,
            state=state,
            club=self.cast.harbour,
            user=self.cast.tomas,
            subject_kind="clinics.Swimmer",
            subject_id=self.cast.swims["tomas"].entry.swimmer_id,
            due_at=timezone.now() + month,
            act_at=timezone.now() + month,
            **more,
        )

    def request(self) -> dict[str, Any]:
        row = self._request("other", "open", words="What do you keep?")
        return {"slug": self.cast.harbour.slug, "pk": row.pk}

    def swim_to_hold(self, key: str = "tomas") -> dict[str, Any]:
        return {"slug": self.cast.harbour.slug, "kind": "swim", "of": self.cast.swims[key].pk}

    def other_swim_to_hold(self) -> dict[str, Any]:
        return self.swim_to_hold("other")

    def hold(self) -> dict[str, Any]:
        row = Hold.objects.create(
            subject_kind="clinics.Swim",
            subject_id=self.cast.swims["wren"].pk,
            reason="asked for by the insurer",
            owner=self.cast.admin,
            review_on=timezone.localdate(),
        )
        return {"slug": self.cast.harbour.slug, "pk": row.pk}

    def carrier(self) -> dict[str, Any]:
        about = {"kind": "card", "label": "A 1", "holder": "Petra Voss"}
        return self._pk(Custody.objects.create(clinic=self.cast.clinic, **about))

    def erasure(self) -> dict[str, Any]:
        return self._pk(self._request("erase", "done", answered_at=timezone.now()))

    def erasure_to_come(self) -> dict[str, Any]:
        return self._pk(self._request("erase", "waiting"))

    def export(self) -> dict[str, Any]:
        stored = make_stored(self.cast.harbour, b"PK", kind="export", suffix=".zip")
        stored.delete_by = timezone.now() + dt.timedelta(days=7)
        stored.save()
        return self._pk(self._request("take-along", "done", stored=stored))

    def export_job(self) -> dict[str, Any]:
        row = self._request("take-along", "running")
        return self._pk(self._job("make-export", row, self.cast.tomas))

    def clinic(self) -> dict[str, Any]:
        return self._pk(self.cast.clinic)

    def entry(self) -> dict[str, Any]:
        return {"pk": self.cast.clinic.pk, "entry": self.cast.swims["tomas"].entry.pk}

    def choice(self) -> dict[str, Any]:
        swimmer = self.cast.swims["tomas"].entry.swimmer
        return {"pk": swimmer.pk, "purpose": "film-and-review"}

    def asking_clinic(self) -> dict[str, Any]:
        publish_defaults(club=self.cast.harbour, by=self.cast.admin)
        return self.clinic()

    def club_text(self) -> dict[str, Any]:
        return {**self.club(), "purpose": "film-and-review"}

    def signed_sheet(self) -> dict[str, Any]:
        row = self.cast.swims["tomas"].entry.swimmer.consents.get()
        still = make_still((240, 240, 235))
        row.sheet = make_stored(self.cast.harbour, still, kind="consent-sheet", suffix=".jpg")
        row.save()
        return self._pk(row)

    def answer(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["tomas"].entry.swimmer.consents.get())

    def personal_link(self) -> dict[str, Any]:
        swimmer, by = self.cast.swims["tomas"].entry.swimmer, self.cast.admin
        link = make_link(swimmer=swimmer, clinic=self.cast.clinic, by=by)
        return {"token": link.rstrip("/").rsplit("/", 1)[1]}

    def _sign_up(self) -> SignUp:
        sheet = SignUpSheet.objects.create(clinic=self.cast.clinic, token="link-of-the-club")
        return SignUp.objects.create(
            sheet=sheet,
            user=self.cast.tomas,
            name="Tomas Birk",
            adult_attested_at=timezone.now(),
            stroke="freestyle",
            start="block",
            pace_s_per_100m=90,
            state="signed-up",
            came="account",
            confirmed_at=timezone.now(),
        )

    def sheeted_clinic(self) -> dict[str, Any]:
        return self._pk(self._sign_up().sheet.clinic)

    def listed_sign_up(self) -> dict[str, Any]:
        row = self._sign_up()
        return {"pk": row.sheet_id, "sign_up": row.pk}

    def own_sign_up(self) -> dict[str, Any]:
        return self._pk(self._sign_up())

    def sheet_link(self) -> dict[str, Any]:
        return {"token": self._sign_up().sheet.token}

    def sign_up_link(self) -> dict[str, Any]:
        return {"token": personal_token(self._sign_up())}

    def station(self) -> dict[str, Any]:
        return self._pk(self.cast.start_side)

    def swim(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["tomas"])

    def withdrawn_swim(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["sol"])

    def swim_elsewhere(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["other"])

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

    def _unchecked(self) -> Any:
        swim = self.cast.swims["tomas"]
        swim.person, swim.others_recorded_at = "unconfirmed", None
        swim.passed_at = swim.given_at = None
        swim.save()
        return swim

    def unchecked_swim(self) -> dict[str, Any]:
        return self._pk(self._unchecked())

    def clip(self) -> dict[str, Any]:
        return self._pk(self.cast.clips["tomas"][0])

    def withdrawn_clip(self) -> dict[str, Any]:
        return self._pk(self.cast.clips["sol"][0])

    def station_mask(self) -> dict[str, Any]:
        area = {"left": 0.1, "top": 0.1, "width": 0.2, "height": 0.2}
        return self._pk(StationMask.objects.create(station=self.cast.start_side, **area))

    def _clip_mask(self, swim: str) -> dict[str, Any]:
        area = {"left": 0.1, "top": 0.1, "width": 0.2, "height": 0.2}
        frames = {"first_frame": 500, "last_frame": 510}
        clip = self.cast.clips[swim][0]
        return self._pk(ClipMask.objects.create(clip=clip, **frames, **area))

    def clip_mask(self) -> dict[str, Any]:
        return self._clip_mask("tomas")

    def withdrawn_clip_mask(self) -> dict[str, Any]:
        return self._clip_mask("sol")

    def _file(self, swim: str, kind: str) -> dict[str, Any]:
        return self._pk(self.cast.clips[swim][0].files.get(kind=kind))

    def video(self) -> dict[str, Any]:
        return self._file("tomas", "video")

    def poster(self) -> dict[str, Any]:
        return self._file("tomas", "poster")

    def strip(self) -> dict[str, Any]:
        return self._file("tomas", "strip")

    def sound(self) -> dict[str, Any]:
        return self._file("tomas", "sound")

    def unchecked_video(self) -> dict[str, Any]:
        self._unchecked()
        return self._file("tomas", "video")

    def withdrawn_video(self) -> dict[str, Any]:
        return self._file("sol", "video")

    def video_elsewhere(self) -> dict[str, Any]:
        return self._file("other", "video")

    def _recording(self) -> Any:
        row = self.cast.recordings["start-side"]
        row.contact_strip = make_stored(
            self.cast.harbour, make_still((9, 80, 99)), kind="contact-strip", suffix=".jpg"
        )
        row.save()
        return row

    def recording(self) -> dict[str, Any]:
        return self._pk(self._recording())

    def filmed(self) -> dict[str, Any]:
        """A recording whose original is a real one, since single pictures are decoded of it."""
        row = self._recording()
        source = row.files.get()
        path = source.stored.local_path()
        film(path)
        source.facts = probe(path, shown_name=source.name, limits=Limits()).to_dict()
        source.save()
        save_frame_table(row.frame_table.local_path(), np.arange(25, dtype=np.int64) * 3600)
        return self._pk(row)

    def carded_swim(self) -> dict[str, Any]:
        """A swim whose start, and the two seconds before it, lie in a real second of film."""
        self.filmed()
        recording = self.cast.recordings["start-side"]
        recording.clock_fit.zero_at = FIRST_START - dt.timedelta(seconds=2.5)
        recording.clock_fit.save()
        return self.swim()

    def filmed_frame(self) -> dict[str, Any]:
        return {**self.filmed(), "number": 12}

    def tie(self) -> dict[str, Any]:
        row = Tie.objects.create(
            recording=self.cast.recordings["start-side"],
            kind="start-seen",
            pts_ticks=3600,
            swim=self.cast.swims["tomas"],
            u_ms=20,
            placed_by=self.cast.checker,
        )
        return self._pk(row)

    def _upload(self) -> Upload:
        row = Upload.objects.create(
            station=self.cast.start_side,
            owner=self.cast.crew,
            card=uuid.uuid4(),
            name="00012.MTS",
            size_bytes=1000,
            expires_at=timezone.now() + dt.timedelta(days=1),
        )
        part = Path(settings.UPLOADS_DIR) / f"{row.pk}.part"
        part.parent.mkdir(parents=True, exist_ok=True)
        part.touch()
        return row

    def upload(self) -> dict[str, Any]:
        return self._pk(self._upload())

    def _job(self, kind: str, subject: Any, by: Any) -> Any:
        return enqueue(kind=kind, subject=subject, asked_by=by)

    def upload_job(self) -> dict[str, Any]:
        return self._pk(self._job("take-in", self._upload(), self.cast.crew))

    def clip_job(self) -> dict[str, Any]:
        return self._pk(self._job("render-clip", self.cast.clips["tomas"][0], self.cast.checker))

    def clinic_job(self) -> dict[str, Any]:
        return self._pk(self._job("align", self.cast.clinic, self.cast.checker))

    def recording_job(self) -> dict[str, Any]:
        recording = self.cast.recordings["start-side"]
        return self._pk(self._job("index-recording", recording, self.cast.crew))

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

    def group_page(self) -> dict[str, Any]:
        self.group_swim()
        return self._taken_home("tomas")

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

    # --- showing on (tests/showing.py) ---

    def _clip_of(self, name: str = "tomas") -> Any:
        return self.cast.clips[name][0]

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

    def draft(self) -> dict[str, Any]:
        return self.comment(sent=False)

    def session(self) -> dict[str, Any]:
        row = UserSession.objects.create(
            user=self.cast.tomas, ip="192.0.2.7", session_key="k" * 32, user_agent="Tester"
        )
        return self._pk(row)

    def factor(self) -> dict[str, Any]:
        row = Authenticator.objects.create(user=self.cast.tomas, type="totp", data={"secret": "x"})
        return self._pk(row)


# --- asking ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Answer:
    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes


VARYING = {"X-Request-Id", "Set-Cookie", "Expires"}  # Expires: now, to the second
TOKEN = re.compile(rb'name="csrfmiddlewaretoken" value="[^"]*"')


def ask(client: Client, verb: str, path: str, keys: dict[str, Any]) -> Answer:
    """The answer with what may differ taken out: request id, form token, and the id itself."""
    headers = {"accept": "text/html", "tus-resumable": "1.0.0"}
    if verb == "RANGE":
        headers["range"] = "bytes=2-9"
    with transaction.atomic():
        response = client.generic("GET" if verb == "RANGE" else verb, path, headers=headers)
        body = b"".join(response) if response.streaming else response.content
        transaction.set_rollback(True)
    body = TOKEN.sub(b"", body)
    sent = {name: value for name, value in response.items() if name not in VARYING}
    ids = [str(value) for value in keys.values() if isinstance(value, uuid.UUID)]
    for text in (path, quote(path), quote(path, safe=""), *ids):
        body = body.replace(text.encode(), b"<this>")
        sent = {name: value.replace(text, "<this>") for name, value in sent.items()}
    return Answer(response.status_code, tuple(sorted(sent.items())), body)


def cast_by_letter(cast: Cast) -> dict[str, Any]:
    return {
        "S": cast.tomas,
        "W": cast.wren,
        "X": cast.sol,
        "C": cast.coach,
        "K": cast.checker,
        "R": cast.crew,
        "A": cast.admin,
        "c": cast.other_coach,
        "a": cast.other_admin,
        "s": cast.other_swimmer,
        "-": None,
    }


def check_let_through(row: Row, verb: str, answer: Answer, here: str) -> None:
    assert answer.status not in {401, 404, 405}, here
    assert answer.status < 500 or answer.status == 503, here
    if verb in {"GET", "RANGE", "HEAD"}:
        assert answer.status < 400, (here, answer.status)


def check_kept_out(verb: str, answer: Answer, absent: Answer, letter: str, here: str) -> None:
    assert answer == absent, here
    if letter == "-" and here.split("#")[0].split(": ")[0] not in OPEN_TO_ANYONE:
        assert answer.status in {302, 401}, here
    elif verb in {"GET", "HEAD", "RANGE", "POST"}:
        assert answer.status in {404, 405, 204}, (here, answer.status)


@pytest.mark.parametrize("name", MATRIX)
def test_the_whole_cast_on(name: str, cast: Cast) -> None:
    row = MATRIX[name]
    made, nothing = Things(cast).keys(row.of)
    path = reverse(name.split("#")[0], kwargs=made)
    no_path = reverse(name.split("#")[0], kwargs=nothing)
    for letter, user in cast_by_letter(cast).items():
        client = sign_in(Client(), user)
        for verb in verbs_of(row, letter, name):
            here = f"{name}: {letter} {verb}"
            answer = ask(client, verb, path, made)
            if letter in row.may(verb):
                check_let_through(row, verb, answer, here)
            elif letter not in row.knows() and row.of:
                absent = ask(client, verb, no_path, nothing)
                check_kept_out(verb, answer, absent, letter, here)
            elif letter == "-":
                assert answer.status in {302, 401, 405}, here
            elif verb in {"GET", "POST"}:
                assert answer.status in {403, 404, 405}, (here, answer.status)
            else:
                assert answer.status < 500, here


def test_a_byte_range_of_a_clip_is_a_part_of_it(cast: Cast) -> None:
    """So that RANGE above really asks for a range where there is something to see."""
    made, _ = Things(cast).keys("video")
    path = reverse("clinics:clip-file", kwargs=made)
    answer = ask(sign_in(Client(), cast.tomas), "RANGE", path, made)
    whole = cast.clips["tomas"][0].files.get(kind="video").stored.local_path().read_bytes()
    assert answer.status == 206 and answer.body == whole[2:10]


def test_an_upload_to_a_hidden_station_answers_like_one_to_none(cast: Cast) -> None:
    """The tus creation names its station in a header, not in the URL."""

    def create(client: Client, station: uuid.UUID) -> tuple[int, bytes]:
        told = {"station": str(station), "filename": "00012.MTS"}
        packed = ",".join(f"{k} {base64.b64encode(v.encode()).decode()}" for k, v in told.items())
        with transaction.atomic():
            answer = client.post(
                reverse("clinics:tus"),
                headers={
                    "tus-resumable": "1.0.0",
                    "upload-length": "1000",
                    "upload-metadata": packed,
                },
            )
            transaction.set_rollback(True)
        return answer.status_code, answer.content

    for letter, user in cast_by_letter(cast).items():
        client = sign_in(Client(), user)
        hidden, absent = create(client, cast.start_side.pk), create(client, uuid.uuid4())
        if letter in "KR":
            assert hidden[0] == 201 and absent[0] == 404, letter
        else:
            assert hidden == absent and hidden[0] == (401 if letter == "-" else 404), letter


# --- nothing is left out ---------------------------------------------------------------


def named(resolver: URLResolver, space: str = "") -> Iterator[str]:
    for item in resolver.url_patterns:
        if isinstance(item, URLResolver):
            yield from named(item, f"{space}{item.namespace}:" if item.namespace else space)
        else:
            assert isinstance(item, URLPattern) and item.name, f"{item.pattern} has no name"
            yield f"{space}{item.name}"


def test_every_url_stands_in_the_matrix_and_nothing_else() -> None:
    told = {name.split("#")[0] for name in MATRIX}
    known = set(named(get_resolver()))
    assert known - told == set(), "add these URLs to MATRIX, with who is let through"
    assert told - known == set(), "these URLs are gone: take them out of MATRIX"


def test_files_are_reached_by_no_other_path(cast: Cast) -> None:
    """Trust 12: direct paths of stored files are 404, to those who may see them, too."""
    stored = cast.clips["tomas"][0].files.get(kind="video").stored
    client = sign_in(Client(), cast.coach)
    for prefix in ("/media/", "/not-served/", "/internal/media/", "/static/", "/originals/", "/"):
        assert client.get(f"{prefix}{stored.name}").status_code == 404
    with pytest.raises(NoReverseMatch):
        reverse("media", args=[stored.name])


def test_lists_hold_nothing_of_others(cast: Cast) -> None:
    """What has no id in its URL must not tell of others either."""
    secrets: dict[str, Callable[[], set[str]]] = {
        "S": lambda: {"Wren", "Sol Hagen", "Kit", "Quillmoor"},
        "W": lambda: {"Tomas", "Sol Hagen", "Kit", "Quillmoor"},
        "c": lambda: {"Tomas", "Wren", "Sol Hagen", "Harbour", "Autumn"},
        "s": lambda: {"Tomas", "Wren", "Sol Hagen", "Harbour", "Autumn"},
        "C": lambda: {"Kit", "Quillmoor", "Sol Hagen"},
    }
    clip_ids = {str(clip.pk): clip.swim_id for clip in Clip.objects.all()}
    assert len(clip_ids) == 10
    for letter, names in secrets.items():
        client = sign_in(Client(), cast_by_letter(cast)[letter])
        for url in ("clinics:clinics", "feedback:my-swims", "feedback:waiting", "portal:account"):
            page = client.get(reverse(url), follow=True).content.decode()
            for name in names():
                assert name not in page, (letter, url, name)
