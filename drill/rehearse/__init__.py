"""The conductor of the drill: it wires copies, faults, plan, restore, verify and score, shoot by shoot.

`run` is the whole run, `rehearsal` a studio opened once for one exercise after the other, `exercises` which there are;
`drill` one scenario for one shoot; `stage` all copies under one scenario; `reads` makes every
read once and remembers what it gave; `holdings` who is said to hold what; `findings` what is wrong on the copies today;
`opening` finds the copies and who is asked first; `links` asks servers; `bench` is what one drill works with;
`salvaging` is what damaged copies still give before a file counts as lost, `parts` what that leaves in scratch;
`by_hand` the restore a person would do; `settle` makes the record. They print nothing.
"""

from drill.rehearse.exercises import Exercise, exercises, fitting
from drill.rehearse.findings import Wanting, say_wanting
from drill.rehearse.rehearsal import Options, Rehearsal
from drill.rehearse.run import rehearse

__all__ = ["Exercise", "Options", "Rehearsal", "Wanting", "exercises", "fitting", "rehearse", "say_wanting"]
