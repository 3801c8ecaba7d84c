"""A lane with swimmers in it, moved on step by step: what happens if the starter calls them at
given seconds. Written without the planner and without its geometry: swimmers swim, turn when
they meet a wall, climb out and are gone.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field

Key = Hashable
NEAR = 1e-6


@dataclass(frozen=True)
class Call:
    """The starter sends a swimmer at a second; `party`: those who go one after the other."""

    at_s: float
    key: Key
    pace_s_per_100m: float
    party: int = 0


@dataclass(frozen=True)
class Talk:
    """Somebody briefs a party; `lane_rests`: nobody may swim meanwhile."""

    from_s: float
    to_s: float
    party: int
    lane_rests: bool


@dataclass(frozen=True)
class Trouble:
    """`what`: oncoming, ahead, climbing-out (who is in the lane when `key` starts), twice,
    hurried (no change-over), unbriefed, talk (a briefing that cannot be held)."""

    what: str
    at_s: float
    key: Key
    other: Key = None
    where_m: float = 0.0


@dataclass
class Agent:
    key: Key
    speed: float
    party: int
    to_swim_m: float
    to_climb_s: float
    x_m: float = 0.0
    heading: int = 1
    passed: list[tuple[float, float]] = field(default_factory=list)
    """Second and place of every wall met and every watched place gone by."""

    @property
    def is_out(self) -> bool:
        return self.to_swim_m <= NEAR and self.to_climb_s <= NEAR

    def move(self, from_s: float, dt_s: float, course_m: float, watched_m: Sequence[float]) -> None:
        while dt_s > NEAR and self.to_swim_m > NEAR:
            to_wall_m = course_m - self.x_m if self.heading > 0 else self.x_m
            part_m = min(to_wall_m, self.to_swim_m, dt_s * self.speed)
            self._note(from_s, part_m, watched_m)
            self.x_m += self.heading * part_m
            self.to_swim_m -= part_m
            from_s, dt_s = from_s + part_m / self.speed, dt_s - part_m / self.speed
            if part_m >= to_wall_m - NEAR and self.to_swim_m > NEAR:
                self.heading = -self.heading
        if self.to_swim_m <= NEAR:
            self.to_climb_s -= max(dt_s, 0.0)

    def _note(self, from_s: float, part_m: float, watched_m: Sequence[float]) -> None:
        for place_m in watched_m:
            ahead_m = (place_m - self.x_m) * self.heading
            if NEAR < ahead_m <= part_m + NEAR:
                self.passed.append((from_s + ahead_m / self.speed, place_m))


@dataclass
class Seen:
    """What happened: trouble, when each go left the lane, and what passed the watched places."""

    trouble: list[Trouble] = field(default_factory=list)
    spans: list[tuple[Key, float, float]] = field(default_factory=list)
    passed: list[tuple[float, float, Key]] = field(default_factory=list)


def simulate(
    *,
    course_m: float,
    distance_m: float,
    climbing_out_s: float,
    calls: Iterable[Call],
    talks: Iterable[Talk] = (),
    change_over_s: float = 0.0,
    watched_m: Sequence[float] = (),
) -> Seen:
    """One second after the other, and at each call, until everybody is out."""
    waiting = sorted(calls, key=lambda call: call.at_s)
    talks = list(talks)
    seen = Seen(trouble=_talks_at_once(talks))
    lane: dict[int, tuple[Agent, float]] = {}
    left_s, last_party, number = float("-inf"), None, 0
    now_s = waiting[0].at_s if waiting else 0.0
    while waiting or lane:
        while waiting and waiting[0].at_s <= now_s + NEAR:
            call = waiting.pop(0)
            seen.trouble += _trouble_at(call, now_s, [agent for agent, _ in lane.values()], talks)
            changed = last_party is not None and call.party != last_party
            if changed and now_s - left_s < change_over_s - NEAR:
                seen.trouble.append(Trouble("hurried", now_s, call.key))
            last_party, number = call.party, number + 1
            agent = Agent(
                call.key, 100 / call.pace_s_per_100m, call.party, distance_m, climbing_out_s
            )
            lane[number] = (agent, now_s)
        until_s = min(now_s + 1.0, waiting[0].at_s if waiting else now_s + 1.0)
        for each, (agent, start_s) in list(lane.items()):
            agent.move(now_s, until_s - now_s, course_m, watched_m)
            if agent.is_out:
                out_s = until_s + agent.to_climb_s  # what is left over of the step
                left_s = max(left_s, out_s)
                seen.spans.append((agent.key, start_s, out_s))
                seen.passed += [(at_s, x_m, agent.key) for at_s, x_m in agent.passed]
                del lane[each]
        now_s = until_s
    seen.trouble += _talked_into(seen, talks)
    return seen


def _trouble_at(
    call: Call, now_s: float, lane: Sequence[Agent], talks: Sequence[Talk]
) -> list[Trouble]:
    found = []
    for agent in lane:
        if agent.key == call.key:
            what = "twice"
        elif agent.to_swim_m <= NEAR:
            what = "climbing-out"
        else:
            what = "oncoming" if agent.heading < 0 else "ahead"
        found.append(Trouble(what, now_s, call.key, agent.key, agent.x_m))
    own = [talk for talk in talks if talk.party == call.party]
    if any(talk.to_s > now_s + NEAR for talk in own):
        found.append(Trouble("unbriefed", now_s, call.key))
    return found


def _talks_at_once(talks: Sequence[Talk]) -> list[Trouble]:
    ordered = sorted(talks, key=lambda talk: talk.from_s)
    return [
        Trouble("talk", two.from_s, two.party)
        for one, two in zip(ordered, ordered[1:], strict=False)
        if two.from_s < one.to_s - NEAR
    ]


def _talked_into(seen: Seen, talks: Sequence[Talk]) -> list[Trouble]:
    return [
        Trouble("talk", talk.from_s, talk.party, key)
        for talk in talks
        if talk.lane_rests
        for key, start_s, out_s in seen.spans
        if start_s < talk.to_s - NEAR and out_s > talk.from_s + NEAR
    ]
