"""Touchstone files: reading and writing."""

from .data import TouchstoneData
from .read import read_touchstone, touchstone_from_bytes
from .write import write_touchstone

__all__ = ["TouchstoneData", "read_touchstone", "touchstone_from_bytes", "write_touchstone"]
