"""The areas' tables and things, joined."""

from __future__ import annotations

from tests.matrix import (
    checking,
    consent,
    feedback,
    footage,
    keeping,
    own_data,
    plan,
    portal,
    showing,
)
from tests.matrix.rows import Row

AREAS = (portal, plan, footage, checking, consent, own_data, feedback, keeping, showing)


def joined() -> dict[str, Row]:
    """All rows; a name that stands in two areas would hide one of the rows."""
    rows = {name: row for area in AREAS for name, row in area.ROWS.items()}
    assert len(rows) == sum(len(area.ROWS) for area in AREAS), "a name stands in two areas"
    return rows


MATRIX = joined()


class Things(
    portal.PortalThings,
    plan.PlanThings,
    checking.CheckingThings,
    consent.ConsentThings,
    own_data.OwnDataThings,
    keeping.KeepingThings,
    showing.ShowingThings,
):
    """Whatever a row of any area is about."""
