"""The conductor of letting go: may this card be formatted, this drive sold, this cloud cancelled?

`run` is the whole rehearsal; `desk` its copies and the rounds of reading; `going` what goes with the medium; `contents`
what is known of the bytes of a copy; `holdings` what is on the medium; `samefile` what elsewhere
is the very file that goes; `seek` which file elsewhere is read next;
`facts` what the judge is told; `judge` makes reasons of facts; `beside` looks at what lies on the medium outside its
copies. They print nothing, and delete nothing.
"""

from drill.retire.run import Options, medium_named, retire

__all__ = ["Options", "medium_named", "retire"]
