"""The demo's scheme: how the invented studio makes, checks and lets go the copies of a shoot.

Flows in: nothing. Flows out: the part of studio.toml that a forecast is reckoned from. Must not know: what was laid
out. It has the gaps of many: one bag until the train ride home, an upload once a month, a card that is formatted on a
fixed day.
"""

SCHEME = """
# How a shoot's copies come about over time: what `drill forecast studio.toml` lays over the calendar.
[scheme]
made_on = ["card"]               # what the camera writes to
begins = "09:00"                 # the first picture of a shoot's day
ends = "18:00"                   # when the `after` of the steps begins
away_for = "2 days"              # after a shoot away, until one is home again
home = "home"                    # where bag and pocket are while nobody is away
size = "40 GB"                   # of a real shoot; the demo's are small
files = 900

[[steps]]
id = "import"
do = "copy"
from = "card"
to = "tablet"
after = "1 h"
done = 0.95                      # one evening in twenty one is too tired …
again = "1 day"                  # … and does it the next
minutes = 5

[[steps]]
id = "second-copy"
do = "copy"
from = "tablet"
to = "field-ssd"
follows = "import"
after = "30 min"
done = 0.9
minutes = 5

[[steps]]
id = "computer"                  # the mirror follows by itself
do = "copy"
from = "tablet"
to = "computer"
follows = "import"
after = "1 h"
only_when = "home"
done = 0.95
minutes = 10

[[steps]]
id = "edit"                      # on the tablet, in the week after; until the next step it is there alone
do = "edit"
to = "tablet"
after = "4 days"
only_when = "home"

[[steps]]
id = "edits-home"                # what was edited follows the pictures to the computer
do = "copy"
from = "tablet"
to = "computer"
follows = "edit"
after = "1 day"
takes = "15 min"
done = 0.9
minutes = 5

[[steps]]
id = "archive"
do = "copy"
from = "computer"
to = "archive-a"
every = "week"
on = "sunday"
at = "20:00"
only_when = "home"
done = 0.9
minutes = 15

[[steps]]
id = "upload"
do = "copy"
from = "computer"
to = "cloud"
every = "month"
on = 1
at = "20:00"
only_when = "home"
done = 0.9
minutes = 10

[[steps]]
id = "attic"                     # the sister visits four times a year
do = "copy"
from = "archive-a"
to = "attic-disk"
every = "quarter"
on = 15
done = 0.8
minutes = 30

[[steps]]
id = "audit"
do = "verify"
to = "archive-a"
every = "quarter"
on = 10
done = 0.8
minutes = 20

[[steps]]
id = "format"                    # on a fixed day, whatever was copied until then: only_once_on would be better
do = "erase"
from = "card"
after = "7 days"

[[steps]]
id = "clear-tablet"
do = "erase"
from = "tablet"
after = "40 days"
only_once_on = ["archive-a", "cloud"]
again = "7 days"

[[steps]]
id = "clear-field-ssd"
do = "erase"
from = "field-ssd"
after = "40 days"
only_once_on = ["archive-a", "cloud"]
again = "7 days"

# What things cost, so that advice can be weighed; round figures.
[costs]
currency = "EUR"
hour = 30
buy = { ssd = 120, hard-disk = 110 }
yearly = { cloud = 120 }
"""
