"""Touchstone files: reading and writing."""

from .data import TouchstoneData
from .read import read_touchstone

__all__ = ["TouchstoneData", "read_touchstone"]
