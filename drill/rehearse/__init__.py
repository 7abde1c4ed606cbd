"""The conductor of the drill: it wires copies, faults, plan, restore, verify and score, shoot by shoot.

`run` is the whole run; `drill` one scenario for one shoot; `reads` makes every read once and remembers what it gave;
`claims` who is said to hold what; `by_hand` the restore a person would do. They hold no arithmetic and print nothing.
"""

from drill.rehearse.run import Options, rehearse

__all__ = ["Options", "rehearse"]
