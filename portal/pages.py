"""Long lists, a page at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import QueryDict

ON_A_PAGE = 50
Row = TypeVar("Row")


@dataclass(frozen=True)
class Page(Generic[Row]):
    """Of a list of `total` rows those of page `number`, from 1.

    `before` and `after` are the queries of the pages beside it; empty: there is none.
    """

    rows: list[Row]
    total: int
    number: int
    of: int
    before: str
    after: str


def page_of(
    rows: QuerySet[Any, Row] | Sequence[Row],
    asked: QueryDict,
    *,
    name: str = "page",
    size: int = ON_A_PAGE,
) -> Page[Row]:
    """The page that `name` in the query asks for: the first if that is no number, the last if
    there is no such page. `rows` have an order of their own. What else is asked stays in the
    links."""
    page = Paginator(rows, size).get_page(asked.get(name))

    def query(number: int) -> str:
        there = asked.copy()
        there[name] = str(number)
        return there.urlencode()

    return Page(
        rows=list(page.object_list),
        total=page.paginator.count,
        number=page.number,
        of=page.paginator.num_pages,
        before=query(page.number - 1) if page.has_previous() else "",
        after=query(page.number + 1) if page.has_next() else "",
    )
