"""The conductor of the survey: it takes stock of what is promised and where it is, without reading any picture.

`stocktake` is the whole survey; `seen` every copy when it has been looked at, `look` how each is found; `match` which
of its files is which promised file; `rules` published rules as arithmetic on media; `notices` what else is worth
saying. They print nothing.
"""

from drill.survey.seen import Whereabouts, whereabouts
from drill.survey.stocktake import survey

__all__ = ["Whereabouts", "survey", "whereabouts"]
