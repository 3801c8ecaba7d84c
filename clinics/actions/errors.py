"""The error that actions raise for bad input."""

from clinics.compute.errors import BadInput

__all__ = ["BadInput"]
