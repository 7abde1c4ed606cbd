"""Places: which file on a copy a listed name means, and paths paired by their endings.

Flows in: a copy's list and its listing. Flows out: numbers of files. Must not know: promises, digests, how anything is
read. `listed` places the names of a list; `endings` pairs any two rows of paths that end alike.
"""

from drill.places.endings import at_least, by_endings
from drill.places.listed import find_places, is_absolute

__all__ = ["at_least", "by_endings", "find_places", "is_absolute"]
