"""Copies compared with each other, where no promise and no list says what is right.

Flows in: readings of files, ways to open their bytes, what a look inside came to. Flows out: which files are one file,
which readings are alike and where the others differ, and a judgement, never a proof. Must not know: promises, ledgers.

`families` says which readings are of one file; `lockstep` compares their bytes and keeps what is `differing`; `judge`
says who is likely right, `saying` how they differ.
"""

from drill.comparing.families import Family, Joined, Reading, families
from drill.comparing.judge import Judgement, Side, are_unlike, judge, say_block_majority
from drill.comparing.lockstep import BLOCK, Comparison, Difference, Ranges, Source, compare
from drill.comparing.saying import say_difference

__all__ = [
    "BLOCK",
    "Comparison",
    "Difference",
    "Family",
    "Joined",
    "Judgement",
    "Ranges",
    "Reading",
    "Side",
    "Source",
    "are_unlike",
    "compare",
    "families",
    "judge",
    "say_block_majority",
    "say_difference",
]
