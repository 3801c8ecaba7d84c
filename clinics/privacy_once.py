"""The fence's question put into SQL once, since putting it takes many times as long as its answer.

A rule of clinics/privacy.py is a condition in which only four things differ from one asking to the
next: who asks, by which share link, what time and what day it is. So it is compiled with stand-ins
for them, as `EXISTS (the same row, and the condition)`, and kept; each asking fills in its own.
"""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache, wraps
from typing import TYPE_CHECKING, Any

from django.db import connections, models
from django.db.models import BooleanField, Expression, F, Q
from django.utils import timezone

from portal.models import User

if TYPE_CHECKING:
    from django.db.backends.base.base import BaseDatabaseWrapper
    from django.db.models.sql.compiler import SQLCompiler

Rows = models.QuerySet[Any]
SLOT, ROW_SLOT = re.compile(r"(?<!%)%s"), "row"


@dataclass(frozen=True)
class Asking:
    """What differs from one asking to the next."""

    user: uuid.UUID
    share: uuid.UUID
    now: dt.datetime
    today: dt.date


NOBODY = uuid.UUID("5ca1ab1e-0000-4000-8000-000000000000")
STAND_INS = Asking(
    user=uuid.UUID("5ca1ab1e-0000-4000-8000-000000000001"),
    share=uuid.UUID("5ca1ab1e-0000-4000-8000-000000000002"),
    now=dt.datetime(1871, 3, 5, 7, 11, 13, 171_923, tzinfo=dt.UTC),
    today=dt.date(1867, 11, 13),
)
SOMEBODY = User(pk=STAND_INS.user)
ROW = uuid.UUID("5ca1ab1e-0000-4000-8000-000000000003")
_put = ContextVar("_put", default=False)  # whether a rule is being put into SQL


def now() -> dt.datetime:
    """The time for a rule's condition; a stand-in while the rule is put into SQL."""
    return STAND_INS.now if _put.get() else timezone.now()


def today() -> dt.date:
    """The day in UTC, as memberships count it; a stand-in while the rule is put into SQL."""
    return STAND_INS.today if _put.get() else timezone.now().date()


def by_user(rule: Callable[[User], Q]) -> Callable[[Rows, User | Any], Rows]:
    """Turns a rule about a signed-in user into `(rows, user)` → the rows for which it holds."""

    @wraps(rule)
    def ask(rows: Rows, user: User | Any) -> Rows:
        if user is None or not (user.is_authenticated and user.is_active):
            return rows.none()
        return rows.filter(Fenced(rule, (SOMEBODY,), _asking(user=user.pk)))

    return ask


def by_share(rule: Callable[[uuid.UUID], Q]) -> Callable[[Rows, uuid.UUID], Rows]:
    """The same for a rule about who has a share link."""

    @wraps(rule)
    def ask(rows: Rows, share_id: uuid.UUID) -> Rows:
        return rows.filter(Fenced(rule, (STAND_INS.share,), _asking(share=share_id)))

    return ask


def by_anyone(rule: Callable[[], Q]) -> Callable[[Rows], Rows]:
    """The same for a rule about anybody at all."""

    @wraps(rule)
    def ask(rows: Rows) -> Rows:
        return rows.filter(Fenced(rule, (), _asking()))

    return ask


def _asking(user: uuid.UUID = NOBODY, share: uuid.UUID = NOBODY) -> Asking:
    at = timezone.now()
    return Asking(user, share, at, at.date())


class Fenced(Expression):
    """Whether the rule holds for the row: a condition for `filter`."""

    conditional = True

    def __init__(
        self, rule: Callable[..., Q], stand_ins: tuple[User | uuid.UUID, ...], asking: Asking
    ) -> None:
        super().__init__(output_field=BooleanField())
        self.rule, self.stand_ins, self.asking = rule, stand_ins, asking
        self.row: Any = F("pk")

    def get_source_expressions(self) -> list[Any]:
        return [self.row]

    def set_source_expressions(self, exprs: Any) -> None:
        [self.row] = exprs

    def as_sql(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper
    ) -> tuple[str, tuple[Any, ...]]:
        row_sql, row_params = compiler.compile(self.row)
        model = self.row.target.model
        parts, slots = _in_sql(self.rule, self.stand_ins, model, connection.alias)
        told = _as_parameters(self.asking, connection)
        sql = [parts[0]]
        params: list[Any] = []
        for slot, part in zip(slots, parts[1:], strict=True):
            if slot == ROW_SLOT:
                sql += [row_sql, part]
                params += row_params
            else:
                sql += ["%s", part]
                params.append(told[slot] if isinstance(slot, str) else slot.value)
        return "".join(sql), tuple(params)


@dataclass(frozen=True)
class Always:
    """A parameter that is the same whoever asks."""

    value: Any


@cache
def _in_sql(
    rule: Callable[..., Q],
    stand_ins: tuple[User | uuid.UUID, ...],
    model: type[models.Model],
    using: str,
) -> tuple[list[str], list[str | Always]]:
    """The SQL between its parameters, and what each parameter is.

    The tables get names of their own, so that the row outside is not taken for one inside."""
    token = _put.set(True)
    try:
        query = model._base_manager.using(using).filter(rule(*stand_ins), pk=ROW).query
    finally:
        _put.reset(token)
    query.change_aliases({name: f"fence_{n}" for n, name in enumerate(query.alias_map)})
    sql, params = query.exists().get_compiler(using=using).as_sql()
    told = [*_as_parameters(STAND_INS, connections[using]).items()]
    told.append((ROW_SLOT, _uuid(ROW, connections[using])))
    slots = [next((name for name, value in told if value == one), Always(one)) for one in params]
    return SLOT.split(f"EXISTS({sql})"), slots


def _uuid(value: uuid.UUID, connection: BaseDatabaseWrapper) -> Any:
    return models.UUIDField().get_db_prep_value(value, connection)


def _as_parameters(asking: Asking, connection: BaseDatabaseWrapper) -> dict[str, Any]:
    """As the database takes them."""
    return {
        "user": _uuid(asking.user, connection),
        "share": _uuid(asking.share, connection),
        "now": connection.ops.adapt_datetimefield_value(asking.now),
        "today": connection.ops.adapt_datefield_value(asking.today),
    }
