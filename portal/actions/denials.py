"""What a refused request was about, so that the right club's admins find it in their record."""

from __future__ import annotations

import functools
import uuid
from collections.abc import Mapping
from typing import Any

from django.apps import apps
from django.db import connection, models

from portal.models import Club
from portal.registry import audit_subjects

STAND_IN = uuid.UUID(int=0xD0_0D)  # where the id will stand


def about(ids: Mapping[str, Any]) -> tuple[models.Model | None, Club | None]:
    """The row and the club that the address named, if there are such. The same queries whether
    there are or not: a refusal must not tell by its time what exists."""
    found: tuple[models.Model | None, Club | None] = (None, None)
    slug = Club.objects.filter(slug=str(ids.get("slug", ""))).first()
    for value in (one for one in ids.values() if isinstance(one, uuid.UUID)):
        for name, club_id in _rows_with(value):
            found = (apps.get_model(name)(pk=value), Club(pk=club_id))
    return found if found[1] is not None else (None, slug)


def _rows_with(pk: uuid.UUID) -> list[tuple[str, uuid.UUID]]:
    """The names of the kinds that have a row with this id, and the row's club: one query."""
    sql, params = _statement(connection.vendor)
    given = _as_kept(pk)
    with connection.cursor() as cursor:
        cursor.execute(sql, [given if one == _as_kept(STAND_IN) else one for one in params])
        return [(name, uuid.UUID(str(club))) for club, name in cursor.fetchall()]


def _as_kept(pk: uuid.UUID) -> Any:
    return models.UUIDField().get_db_prep_value(pk, connection)


@functools.cache
def _statement(_vendor: str) -> tuple[str, tuple[Any, ...]]:
    """Over all kinds, put into SQL once: there are more than ten, and anybody may be refused."""
    asked = [
        subject.clubs(STAND_IN).annotate(
            kind=models.Value(subject.name, output_field=models.CharField())
        )
        for subject in audit_subjects.all()
    ]
    query = asked[0].union(*asked[1:], all=True).query
    sql, params = query.get_compiler(connection=connection).as_sql()
    return sql, tuple(params)
