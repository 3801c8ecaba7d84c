"""The stations of a clinic on the pool plan."""

from __future__ import annotations

from clinics.views.stations_drawn import pool_context

__all__ = ["pool_context"]
