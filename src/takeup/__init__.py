"""takeup: from a pile of originals to a proven hand-over."""

__version__ = "0.1.0"
