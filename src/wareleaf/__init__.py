"""Wareleaf: one book of lots that obeys physics, for the person who runs a leaf works."""

__version__ = "0.1.0"
