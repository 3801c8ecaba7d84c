"""The demo's pool as somebody put it down, with what is still to be found out, and who of the team
has read the cautions. All invented."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.utils import timezone

from clinics.actions.cautions import acknowledge, reading_of
from clinics.actions.venue import put_venue, venue_of
from clinics.models import Clinic

if TYPE_CHECKING:
    from portal.models import User

PROFILE = ((0.0, 1.8), (1.0, 1.8), (3.0, 1.75), (6.0, 1.6), (12.0, 1.3), (20.0, 1.05))
LEAVE_OPEN = 1  # so many people at posts have not read all


def venue_in_demo(clinic: Clinic, *, by: User | None = None) -> None:
    """What the pool operator said, and what was measured there some days before. Once there is a
    sheet it stays as it is; a closed clinic is not changed."""
    if venue_of(clinic) is not None or clinic.state == Clinic.State.CLOSED:
        return
    asked = min(clinic.date, timezone.now().date()) - dt.timedelta(days=9)
    values = {
        "operator": "Millrace Baths",
        "operator_contact": "duty manager, at the front desk",
        "permission": "given",
        "permission_by": "Odile Marsh, duty manager",
        "permission_on": asked,
        "permission_says": "Lanes 1 and 2 for this hour. Nobody else in picture, none of it shown"
        " in the hall.",
        "other_users": "Lanes 4 to 6: public swimming.",
        "juniors_in_hall": True,
        "juniors_settled": "Their session begins when ours ends; cameras are off and packed then.",
        "lanes": 6,
        "lane_m": 2.5,
        "ropes_out": [1],
        "flags_m": 5.0,
        "depth_profile": [point for point in PROFILE if point[0] <= clinic.course_m],
        "depth_measured_by": "Petra Voss",
        "depth_measured_on": asked + dt.timedelta(days=2),
        "depth_measured_how": "middle of lane 1, tape with a weight",
        "has_blocks": True,
        "block_height_m": 0.7,
        "has_window": True,
        "window": "far wall, lane 1",
        "power": "One socket in the store room, for chargers. None at the pool.",
        "lifeguard": "one, given by Millrace Baths",
    }
    put_venue(clinic=clinic, values=values, by=by)


def cautions_in_demo(clinic: Clinic) -> None:
    """Whoever holds a post has read all they are to read, but the last of them only a part. Call
    it once posts are held; somebody who has read something is left as they are."""
    if clinic.state == Clinic.State.CLOSED:
        return
    readers = [one for one in reading_of(clinic).at_posts if one.user.name]
    for number, reader in enumerate(readers):
        if any(one.at for one in reader.topics):
            continue
        is_last = number >= len(readers) - LEAVE_OPEN
        topics = [one.topic for one in reader.open]
        chosen = topics[1:2] if is_last and len(readers) > 1 else topics
        read = {topic.key: topic.sha256 for topic in chosen}
        acknowledge(clinic=clinic, read=read, by=reader.user)
