"""The conductor of the drill: it wires copies, faults, plan, restore, verify and score, shoot by shoot.

`run` is the whole run; `drill` one scenario for one shoot; `stage` all copies under one scenario; `reads` makes every
read once and remembers what it gave; `holdings` who is said to hold what; `findings` what is wrong on the copies today;
`opening` finds the copies and who is asked first; `links` asks servers; `by_hand` the restore a person would do;
`settle` makes the record. They print nothing.
"""

from drill.rehearse.run import Options, rehearse

__all__ = ["Options", "rehearse"]
