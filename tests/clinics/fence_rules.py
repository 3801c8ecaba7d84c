"""Who sees what, said once more: slowly, plainly, without the database and without the code.

`World` is what is true; the functions below it are the rules of the fence, one sentence each.
The test that draws worlds (test_fence_model.py) compares them with what the program answers.
"""

from __future__ import annotations

from dataclasses import dataclass, field

FILM, GROUP, LEARN, PUBLISH = "film-and-review", "show-to-group", "coach-education", "publish"
COUNT = "count-among-group"  # opens no footage to anybody
UNCLEAR = {"open", "deleted"}  # what became of a report of a minor
PURPOSES = (FILM, GROUP, COUNT, LEARN, PUBLISH)


@dataclass
class Person:
    """A swimmer of the clinic: `user` is who signs in as them, or nobody."""

    user: str | None
    agreed: set[str] = field(default_factory=set)
    erasing: bool = False


@dataclass
class Swim:
    of: str  # the person
    passed_at: int | None = None  # instants are numbers that only grow
    given_at: int | None = None
    others_recorded: bool = False
    confirmed: bool = False
    due: bool = False
    recognised: set[str] = field(default_factory=set)


@dataclass
class Clip:
    swim: str
    span: tuple[int, int]  # of its recording
    ready: bool = True
    rendered_at: int = 0
    due: bool = False
    covers: dict[str, int] = field(default_factory=dict)  # person: when the mask was made
    report: str = ""  # "", "open", "adult", "covered", "deleted"
    reported_at: int = 0
    shelf_at: int | None = None
    swimmer_said: int | None = None
    admin_said: int | None = None
    said_by: str | None = None  # the user who said so as swimmer


@dataclass
class Link:
    swim: str
    by: str
    made_at: int
    ended: bool = False
    expired: bool = False


@dataclass
class World:
    people: dict[str, Person]
    swims: dict[str, Swim]
    clips: dict[str, Clip]
    links: dict[str, Link] = field(default_factory=dict)
    tags: dict[int, tuple[str, int, int]] = field(default_factory=dict)  # who, from, to
    held: set[str] = field(default_factory=set)  # names of swims, clips and people, or "clinic"
    coaches: set[str] = field(default_factory=set)  # users who coach the clinic's club
    coaches_elsewhere: set[str] = field(default_factory=set)
    checkers: set[str] = field(default_factory=set)
    closed: bool = False
    hears: bool = False  # the clinic lets swimmers hear


# --- people ---------------------------------------------------------------------------------------


def agrees(world: World, name: str, purpose: str) -> bool:
    person = world.people[name]
    return not person.erasing and FILM in person.agreed and purpose in person.agreed


def is_swimmer(world: World, user: str | None, swim: Swim) -> bool:
    return user is not None and world.people[swim.of].user == user


def in_the_clinic(world: World, user: str | None) -> bool:
    return user is not None and any(person.user == user for person in world.people.values())


# --- swims ----------------------------------------------------------------------------------------


def put_away(world: World, name: str) -> bool:
    swim = world.swims[name]
    return swim.due or bool({name, swim.of, "clinic"} & world.held)


def passed_on(world: World, name: str) -> bool:
    swim = world.swims[name]
    checked = swim.confirmed and swim.others_recorded and swim.passed_at is not None
    return checked and not put_away(world, name)


def covered(clip: Clip, person: str) -> bool:
    return person in clip.covers and clip.covers[person] < clip.rendered_at


def seen_in_swim(world: World, name: str) -> set[str]:
    """Who was recorded for it, unless one of its clips covers them."""
    clips = [clip for clip in world.clips.values() if clip.swim == name]
    recognised = world.swims[name].recognised
    return {who for who in recognised if not any(covered(clip, who) for clip in clips)}


def all_agree(world: World, people: set[str], purpose: str) -> bool:
    return all(agrees(world, who, purpose) for who in people)


def reviews(world: World, user: str | None, name: str) -> bool:
    """The swimmer and the coaches: with what is said."""
    swim = world.swims[name]
    if not passed_on(world, name) or not all_agree(world, seen_in_swim(world, name), FILM):
        return False
    if is_swimmer(world, user, swim) and swim.given_at is not None:
        return True
    return user in world.coaches and agrees(world, swim.of, FILM)


def shown_to_group(world: World, user: str | None, name: str) -> bool:
    swim = world.swims[name]
    here = in_the_clinic(world, user) and passed_on(world, name) and swim.given_at is not None
    everybody = {swim.of, *seen_in_swim(world, name)}
    return here and all_agree(world, everybody, GROUP)


def counted(world: World, name: str) -> bool:
    """Its measures count without a name: given, agreed to, and nobody asks for a minor's age."""
    swim = world.swims[name]
    if not passed_on(world, name) or not all_agree(world, seen_in_swim(world, name), FILM):
        return False
    reports = {clip.report for clip in world.clips.values() if clip.swim == name}
    return swim.given_at is not None and agrees(world, swim.of, COUNT) and not reports & UNCLEAR


def sees_swim(world: World, user: str | None, name: str) -> bool:
    return reviews(world, user, name) or shown_to_group(world, user, name)


def handles_swim(world: World, user: str | None, name: str) -> bool:
    open_for = user in world.checkers and not world.closed and not put_away(world, name)
    return open_for and agrees(world, world.swims[name].of, FILM)


# --- clips ----------------------------------------------------------------------------------------


def in_sight(world: World, name: str) -> bool:
    clip = world.clips[name]
    return not clip.due and name not in world.held and clip.report not in {"open", "deleted"}


def looked_at(world: World, name: str) -> bool:
    """Whole, made before its swim was passed on, and covered where two people asked for that."""
    clip = world.clips[name]
    passed_at = world.swims[clip.swim].passed_at
    if clip.report == "covered":
        since = [at for at in clip.covers.values() if clip.reported_at < at < clip.rendered_at]
        if not since:
            return False
    return clip.ready and passed_at is not None and clip.rendered_at <= passed_at


def seen_in_clip(world: World, name: str) -> set[str]:
    """Who else is in it: recorded for its swim or tagged where it reaches, and not covered."""
    clip = world.clips[name]
    swim = world.swims[clip.swim]
    begin, end = clip.span
    tagged = {who for who, first, last in world.tags.values() if first < end and last > begin}
    others = (swim.recognised | tagged) - {swim.of}
    return {who for who in others if not covered(clip, who)}


def shown_for(world: World, name: str, purpose: str) -> bool:
    """Given, and everybody in it agrees to this, its swimmer too."""
    clip = world.clips[name]
    everybody = {world.swims[clip.swim].of, *seen_in_clip(world, name)}
    given = world.swims[clip.swim].given_at is not None
    return given and all_agree(world, everybody, purpose)


def clip_passed_on(world: World, name: str) -> bool:
    swim = world.clips[name].swim
    return in_sight(world, name) and looked_at(world, name) and passed_on(world, swim)


def on_shelf(world: World, name: str) -> bool:
    clip = world.clips[name]
    given_at = world.swims[clip.swim].given_at
    put = clip.shelf_at is not None and given_at is not None and clip.shelf_at >= given_at
    return put and clip_passed_on(world, name) and shown_for(world, name, LEARN)


def is_published(world: World, name: str) -> bool:
    clip = world.clips[name]
    swim = world.swims[clip.swim]
    if clip.swimmer_said is None or clip.admin_said is None or swim.given_at is None:
        return False
    first = min(clip.swimmer_said, clip.admin_said)
    theirs = clip.said_by == world.people[swim.of].user and clip.said_by is not None
    as_it_is = first >= swim.given_at and first >= clip.rendered_at
    return theirs and as_it_is and clip_passed_on(world, name) and shown_for(world, name, PUBLISH)


def sees_clip(world: World, user: str | None, name: str) -> bool:
    swim = world.clips[name].swim
    if is_published(world, name):
        return True
    if user is None or not clip_passed_on(world, name):
        return False
    others = seen_in_clip(world, name)
    if reviews(world, user, swim) and all_agree(world, others, FILM):
        return True
    if shown_to_group(world, user, swim) and all_agree(world, others, GROUP):
        return True
    learns = user in world.coaches | world.coaches_elsewhere
    return learns and on_shelf(world, name)


def handles_clip(world: World, user: str | None, name: str) -> bool:
    return in_sight(world, name) and handles_swim(world, user, world.clips[name].swim)


def hears_clip(world: World, user: str | None, name: str) -> bool:
    """Its sound: coaches of the clinic; swimmers where the clinic lets them; nobody else."""
    clip = world.clips[name]
    swim = world.swims[clip.swim]
    if not sees_clip(world, user, name):
        return False
    if user in world.coaches and agrees(world, swim.of, FILM):
        return True
    own = is_swimmer(world, user, swim) and swim.given_at is not None
    group = in_the_clinic(world, user) and shown_for(world, name, GROUP)
    return world.hears and (own or group)


# --- links ----------------------------------------------------------------------------------------


def link_shows(world: World, link: str, name: str) -> bool:
    """A clip, by a link: its swimmer's, not over, and nobody else can be recognised."""
    told, clip = world.links[link], world.clips[name]
    swim = world.swims[clip.swim]
    if told.swim != clip.swim or told.ended or told.expired or swim.given_at is None:
        return False
    theirs = is_swimmer(world, told.by, swim) and told.made_at >= swim.given_at
    return (
        theirs
        and clip_passed_on(world, name)
        and agrees(world, swim.of, FILM)
        and not seen_in_clip(world, name)
    )
