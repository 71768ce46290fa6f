"""Lampfold: card art to print-ready sheets whose fronts and backs meet."""

__version__ = "0.2.0"
