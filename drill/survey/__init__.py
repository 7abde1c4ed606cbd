"""The conductor of the survey: it takes stock of what is promised and where it is, without reading any picture.

`stocktake` is the whole survey; `look` how each copy is found; `match` which of its files is which promised file;
`rules` published rules as arithmetic on media; `notices` what else is worth saying. They print nothing.
"""

from drill.survey.stocktake import survey

__all__ = ["survey"]
