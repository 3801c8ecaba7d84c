"""What the later packages tell `portal` about themselves at start-up.

`portal` must never import `clinics` or `feedback`; they register here, in their
`AppConfig.ready`, what the site has to know: kinds of jobs, rules for keeping files,
steps for erasing and exporting a person, and places in the navigation.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Generic, TypeVar

if TYPE_CHECKING:
    import datetime as dt
    import uuid

    from django.db.models import QuerySet

    from portal.ledger_line import Line
    from portal.models import Club, Job, PersonRequest, StoredFile, User
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
class Person:
    """Somebody in a club's footage, as the steps that export and erase are told of them.

    `kind` and `id` are of the row that stands for them at that club. `emails` are addresses
    that are theirs alone.
    """

    kind: str
    id: uuid.UUID
    club: Club
    name: str = ""
    emails: tuple[str, ...] = ()
    user: User | None = None


@dataclass(frozen=True)
class PersonSource:
    """How the site finds people in footage, whose model it does not know. `name` is its label.

    `answered(request)` does what an admin's yes to a request means, in the same transaction.
    """

    name: str
    find: Callable[[uuid.UUID], Person | None]
    of_user: Callable[[User], list[Person]]
    of_club: Callable[[Club], list[tuple[uuid.UUID, str]]]  # with their names, for admins
    cooling: Callable[[Club], dt.timedelta]  # between the wish to be erased and the deletion
    is_held: Callable[[Person], bool]  # something of theirs is kept from deletion
    named: Callable[[Collection[tuple[str, uuid.UUID]]], dict[uuid.UUID, str]]  # for admins
    answered: Callable[[PersonRequest], None]


@dataclass(frozen=True)
class Found:
    """What a step of erasing finds: rows that will go by their sort, the files that will, and
    what cannot go."""

    rows: dict[str, int] = field(default_factory=dict)
    files: tuple[StoredFile, ...] = ()
    kept: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class PersonStep:
    """One step of erasing or exporting a person; `order` runs from low to high.

    Erasing: `run(person)` deletes what `find(person)` finds; both may run twice, and afterwards
    `find` finds nothing. `labels` name the sorts of rows on the page.
    Exporting: `run(pack)` puts what is theirs into the pack.
    """

    name: str
    order: int
    run: Callable[..., Any]
    find: Callable[[Person], Found] | None = None
    labels: Mapping[str, Any] = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class NoticePart:
    """Sentences of the notice page that follow from what really applies: `lines(clubs)` for the
    reader's clubs, none of them for a stranger."""

    name: str
    lines: Callable[[list[Club]], dict[str, Any]]


@dataclass(frozen=True)
class LedgerReplay:
    """How a restore does again what the deletion ledger says, where more is to be done than
    deleting the row or ending it.

    `name` is what the line says: "deleted clinics.Swimmer", "withdrawn clinics.Swimmer" or, for
    one purpose alone, "withdrawn clinics.Swimmer publish" or "withdrawn * hold". `run(line)` runs
    in a transaction of its own, finds the row there, and says whether there was anything to do:
    asked again it must answer no, for so the restore checks it. `order` runs from low to high;
    rows are deleted at 500.
    """

    name: str
    order: int
    run: Callable[[Line], bool]


@dataclass(frozen=True)
class AuditSubject:
    """What the access record says of one kind of row; `name` is the model's label.

    `words(ids)` names the rows that are still there, in one query. `clubs(id)` asks for the id of
    the club that a row belongs to; a part of one query over all kinds. `find(club, text)` is
    the ids of the club's rows that somebody searching for the text means.
    """

    name: str
    label: Any  # a lazy translation: what such a row is called
    words: Callable[[Collection[str]], dict[str, str]]
    clubs: Callable[[uuid.UUID], QuerySet[Any]]
    find: Callable[[Club, str], Collection[str]]


@dataclass(frozen=True)
class NavEntry:
    """A place to go in the header, or in one of the rows of places below; `shown_to(request)`
    decides for whom. The URL of a club's place takes the club's short name."""

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
class LeavingModule:
    """A script that is asked before somebody signs out (portal/static/portal/leaving.js): it says
    what it keeps in the browser that was not sent yet, and clears it. `path`: the static file."""

    name: str
    path: str


@dataclass(frozen=True)
class SweepStep:
    """Something the sweep does every so often, in small batches; `run()` says how many."""

    name: str
    every_s: float
    run: Callable[[], int]


@dataclass(frozen=True)
class Due:
    """Something whose time has come. `size_bytes` are of its files; 0: it is rows only."""

    kind: str  # a model's label
    id: uuid.UUID
    since: dt.datetime
    files: int = 0
    size_bytes: int = 0


@dataclass(frozen=True)
class Gone:
    """What was deleted with something: rows by their sort, files, bytes."""

    rows: Mapping[str, int] = field(default_factory=dict, hash=False)
    files: int = 0
    size_bytes: int = 0


@dataclass(frozen=True)
class PurgeStep:
    """Things of one sort that go when their time has come; `order` runs from low to high.

    `due(at_most)` names them, oldest first, without what is held; `held()` counts those. `delete`
    deletes one with all that belongs to it, in one transaction, with one audit record, and says
    what went; None: it is not due any more, or held, or gone. Files of the keeping rules named in
    `rules` are this step's alone.
    """

    name: str
    label: Any
    order: int
    due: Callable[[int], list[Due]]
    held: Callable[[], int]
    delete: Callable[[Due], Gone | None]
    rules: frozenset[str] = frozenset()


Item = TypeVar(
    "Item",
    JobKind,
    KeepingRule,
    PersonStep,
    PersonSource,
    NoticePart,
    NavEntry,
    HealthCheck,
    LeavingModule,
    SweepStep,
    PurgeStep,
    PeopleHooks,
    LedgerReplay,
    AuditSubject,
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
person_sources: Registry[PersonSource] = Registry("source of people")
notice_parts: Registry[NoticePart] = Registry("part of the notice")
navigation: Registry[NavEntry] = Registry("navigation entry")
own_places: Registry[NavEntry] = Registry("place of one's own")  # a row on My swims and account
club_places: Registry[NavEntry] = Registry("club's place")  # a row on the club's People page
health_checks: Registry[HealthCheck] = Registry("health check")
leaving_modules: Registry[LeavingModule] = Registry("script asked at signing out")
sweep_steps: Registry[SweepStep] = Registry("sweep step")
purge_steps: Registry[PurgeStep] = Registry("purge step")
people_hooks: Registry[PeopleHooks] = Registry("people hook")
ledger_replays: Registry[LedgerReplay] = Registry("replay of the ledger")
audit_subjects: Registry[AuditSubject] = Registry("subject of the audit trail")
