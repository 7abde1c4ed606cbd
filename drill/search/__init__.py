"""Search: the shortest story of everyday mishaps after which a shoot's pictures cannot be brought back.

Flows in: a studio with a scheme. Flows out: the record of a search. Must not know: terminals. `exhaustive` tries every
story up to a depth, over states; `by_chance` tries some, over real bytes, with Hypothesis, and is loaded only when it
is asked for; whichever found a story, `telling` plays it with real bytes and `judge` drills what it leaves.
"""

from drill.search.corpus import corpus_folder, file_of, kept_stories
from drill.search.ending import FIRST_LINE, scenario_text
from drill.search.mishaps import MISHAPS, all_mishaps, check_left_out
from drill.search.run import Options, Outcome, search_scheme

__all__ = [
    "FIRST_LINE",
    "MISHAPS",
    "Options",
    "Outcome",
    "all_mishaps",
    "check_left_out",
    "corpus_folder",
    "file_of",
    "kept_stories",
    "scenario_text",
    "search_scheme",
]
