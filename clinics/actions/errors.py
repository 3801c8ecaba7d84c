"""The error that actions raise for bad input."""

from clinics.compute.errors import BadInput, say

__all__ = ["BadInput", "say"]
