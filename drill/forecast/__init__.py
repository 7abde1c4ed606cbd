"""Forecast: a backup scheme over the calendar; and any failure logic by itself: cut sets, probability, importance.

The three names are the engine of `drill.faulttree` under the name that people know; to load them loads nothing more.
The conductor is `drill.forecast.run`.
"""

from drill.faulttree import importance, minimal_cut_sets, probability

__all__ = ["importance", "minimal_cut_sets", "probability"]
