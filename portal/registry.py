"""What the later packages tell `portal` about themselves at start-up.

`portal` must never import `clinics` or `feedback`; they register here, in their
`AppConfig.ready`, what the site has to know: kinds of jobs, rules for keeping files,
steps for erasing and exporting a person, and places in the navigation.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, TypeVar

if TYPE_CHECKING:
    import datetime as dt

    from django.db.models import QuerySet

    from portal.models import Club, Job, StoredFile, User
    from portal.requests import SignedInRequest


@dataclass(frozen=True)
class JobKind:
    """A kind of background work.

    `run(job, pulse)` does the work; `pulse(progress, seconds_left)` reports, renews the
    lease and raises `JobStopped` when the job was cancelled or lost. `visible_to` narrows
    the jobs of this kind to those whose subject the user may know about.
    """

    name: str
    queue: str  # "quick" or "render"
    label: Any  # str or a lazy translation
    run: Callable[[Job, Callable[..., None]], None]
    visible_to: Callable[[QuerySet[Job], User], QuerySet[Job]]
    wall_s: float = 3600.0  # longer than this is too long: the job fails and says so
    on_failed: Callable[[Job], None] | None = None
    retry_s: float = 2.0  # wait before the second attempt; four times as long before the third
    may_change: Callable[[Job, User], bool] | None = None  # cancel, retry; None: who asked for it


@dataclass(frozen=True)
class KeepingRule:
    """How long files of one kind are kept. `delete_by(file)` is None: not known yet."""

    name: str
    label: Any  # str or a lazy translation
    delete_by: Callable[[StoredFile], dt.datetime | None]


@dataclass(frozen=True)
class PersonStep:
    """One step of erasing or exporting a person; `order` runs from low to high."""

    name: str
    order: int
    run: Callable[..., Any]


@dataclass(frozen=True)
class NavEntry:
    """A place to go in the header; `shown_to(request)` decides for whom."""

    name: str
    label: Any  # a lazy translation
    url_name: str
    order: int
    shown_to: Callable[[SignedInRequest], bool]
    landing: Callable[[SignedInRequest], bool] | None = None  # may "/" lead here?


@dataclass(frozen=True)
class Finding:
    """What a health check found, in a sentence; when not ok it says what to do."""

    ok: bool
    sentence: Any  # str or a lazy translation


@dataclass(frozen=True)
class HealthCheck:
    """Something the health page and `doctor` ask. `run()` is quick and touches no footage."""

    name: str
    label: Any
    run: Callable[[], Finding]


def _never(_subject: Any) -> bool:
    return False


def _nothing(_subject: Any) -> None:
    return None


def _no_clubs(_user: User) -> list[Club]:
    return []


def _no_duties(_user: User) -> list[Any]:
    return []


@dataclass(frozen=True)
class PeopleHooks:
    """What a package knows of people that the sign-in needs.

    `address_known(email)`: may somebody with this (lower-case) address sign in although no
    User has it yet? It must take the same number of queries for every address.
    `signed_in(user)`: called within the transaction of each sign-in by code.
    `needs_second_factor(user)`: does a duty of this person ask for one?
    `clubs(user)`: the clubs in whose footage the person is.
    `duties(user)`: what the person does beyond the roles, in words for the header; asked only
    of people who work for a club, and with one query.
    """

    name: str
    address_known: Callable[[str], bool] = _never
    signed_in: Callable[[User], None] = _nothing
    needs_second_factor: Callable[[User], bool] = _never
    clubs: Callable[[User], list[Club]] = _no_clubs
    duties: Callable[[User], list[Any]] = _no_duties


@dataclass(frozen=True)
class SweepStep:
    """Something the sweep does every so often, in small batches; `run()` says how many."""

    name: str
    every_s: float
    run: Callable[[], int]


Item = TypeVar(
    "Item", JobKind, KeepingRule, PersonStep, NavEntry, HealthCheck, SweepStep, PeopleHooks
)


class Registry(Generic[Item]):
    """Named things in the order in which they came; a name is taken once."""

    def __init__(self, what: str) -> None:
        self.what = what
        self._items: dict[str, Item] = {}

    def register(self, item: Item) -> Item:
        known = self._items.get(item.name)
        if known is not None and known != item:
            raise ValueError(f"{self.what} “{item.name}” is registered twice")
        self._items[item.name] = item
        return item

    def get(self, name: str) -> Item:
        try:
            return self._items[name]
        except KeyError:
            raise LookupError(f"no {self.what} is called “{name}”") from None

    def all(self) -> Iterable[Item]:
        return tuple(self._items.values())


job_kinds: Registry[JobKind] = Registry("job kind")
keeping_rules: Registry[KeepingRule] = Registry("keeping rule")
erasure_steps: Registry[PersonStep] = Registry("erasure step")
export_steps: Registry[PersonStep] = Registry("export step")
navigation: Registry[NavEntry] = Registry("navigation entry")
health_checks: Registry[HealthCheck] = Registry("health check")
sweep_steps: Registry[SweepStep] = Registry("sweep step")
people_hooks: Registry[PeopleHooks] = Registry("people hook")
