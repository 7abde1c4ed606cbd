"""The day it is real: the rehearsed restore, for keeps. The same plan, restore and judge as a drill's.

`run` is the whole recovery; `lost` what is named as lost, and in which order things come back; `home` the folder that
files come back to, and how one gets its name there; `waiting` which promised files are not back yet, and puts those
that come; `ways` what might bring back what is missing. They print nothing.
"""

from drill.recover.check import check_into, disk_notes
from drill.recover.home import LIST_OF_MISSING
from drill.recover.lost import classes_named, lost_named, shoots_in_order
from drill.recover.run import recover
from drill.recover.site import Options

__all__ = [
    "LIST_OF_MISSING",
    "Options",
    "check_into",
    "classes_named",
    "disk_notes",
    "lost_named",
    "recover",
    "shoots_in_order",
]
