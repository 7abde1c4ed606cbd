"""Places: which file on a copy a listed name means, paths paired by their endings, what is named inside a copy.

Flows in: a copy's list and its listing. Flows out: numbers of files. Must not know: promises, digests, how anything is
read. `listed` places the names of a list; `endings` pairs any two rows of paths that end alike; `inside` has what the
studio file itself names inside a copy.
"""

from drill.places.endings import at_least, by_endings
from drill.places.inside import Inside, named_inside
from drill.places.listed import find_places, is_absolute

__all__ = ["Inside", "at_least", "by_endings", "find_places", "is_absolute", "named_inside"]
