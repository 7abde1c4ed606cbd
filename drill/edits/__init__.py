"""Edits: where the edits of a shoot are, beside its pictures: by plan, and whatever goes wrong.

Flows in: a life, a studio, a step that edits. Flows out: states and what changes them; where the plan has the edits
from moment to moment. Must not know: stories, odds, terminals.
"""

from drill.edits.planned import EditsSpan, Planned, held_by_plan
from drill.edits.states import Brings, Edited

__all__ = ["Brings", "Edited", "EditsSpan", "Planned", "held_by_plan"]
