"""Stages: what a shoot stands on from moment to moment of its life, and what would take it.

Flows in: the spans of a life (`timeline`), a studio, targets. Flows out: for each stage its copies counted, the
smallest sets of events that lose the shoot; for a life how long it lacks what, from when on each target and level is
met; for the days of a year the worst one. Must not know: how likely anything is, scenarios, terminals.
"""

from drill.stages.exposure import LACKS, Exposure, Lack, Met, Moment, measure
from drill.stages.facts import facts
from drill.stages.ground import CutSets, Facts, Ground, effective_place, ground, is_offsite
from drill.stages.levels import Level, levels
from drill.stages.needing import taken_by_need
from drill.stages.tree import FAILURES, cut_sets, stage_tree
from drill.stages.words import cut_words, event_words
from drill.stages.year import Days, days_of, worst_day

__all__ = [
    "FAILURES",
    "LACKS",
    "CutSets",
    "Days",
    "Exposure",
    "Facts",
    "Ground",
    "Lack",
    "Level",
    "Met",
    "Moment",
    "cut_sets",
    "cut_words",
    "days_of",
    "effective_place",
    "event_words",
    "facts",
    "ground",
    "is_offsite",
    "levels",
    "measure",
    "stage_tree",
    "taken_by_need",
    "worst_day",
]
