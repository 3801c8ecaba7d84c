"""Posts in words, and why two of them exclude each other; each can be said in the reader's
language."""

from __future__ import annotations

from clinics.compute.errors import Said
from clinics.compute.errors import say as _
from clinics.compute.posts import Place, Post, Why

POSTS: dict[Post, Said] = {
    Post.STARTER: _("Starter"),
    Post.LOGGER: _("Logger"),
    Post.MARSHAL: _("Marshal"),
    Post.CAMERA: _("Camera"),
    Post.OPERATOR: _("Underwater operator"),
    Post.WATCHER: _("Watcher of the underwater operator"),
    Post.CHECKER: _("Checker"),
    Post.LIFEGUARD: _("Lifeguard"),
}
DOES: dict[Post, Said] = {
    Post.STARTER: _("looks at the lane and gives the start signal"),
    Post.LOGGER: _("writes down who started when"),
    Post.MARSHAL: _("sends the next swimmer"),
    Post.CAMERA: _("films, or looks after a camera that stands by itself"),
    Post.OPERATOR: _("films under water"),
    Post.WATCHER: _("looks only after whoever is under water"),
    Post.CHECKER: _("looks the swims through afterwards, and stands in the consent text"),
    Post.LIFEGUARD: _("given by the pool; watches the water and does nothing else"),
}
WHY: dict[Why, Said] = {
    Why.GIVEN_BY_POOL: _("the lifeguard watches the water and does nothing else"),
    Why.UNDER_WATER: _("whoever is under water can do nothing else"),
    Why.ONLY_WATCHES: _("the watcher looks only after whoever is under water"),
    Why.WALKS: _("the deck camera walks along a wet deck with eyes on the picture"),
    Why.CAMERA_IN_HAND: _("a camera in the hand takes a whole person"),
    Why.LOOKS_AT_LANE: _("the starter looks at the lane, not at a screen or a queue"),
}


def named(place: Place, station_name: str | None = None) -> Said:
    """A post, with its station's name where there is one."""
    post = POSTS[place.post]
    if station_name is None:
        return post
    return _("%(post)s, %(station)s", post=post, station=station_name)
