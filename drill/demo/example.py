"""The demo's studio file: an example that a photographer can learn from, and a true account of what was laid out.

Flows in: the shoots' dates, where links begin, the present moment. Flows out: the text of studio.toml. Must not
know: bytes of pictures, how they were placed. The keys are those of a studio file and no others.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta

from drill.clock import rfc3339
from drill.demo.links import link
from drill.demo.scheme import SCHEME
from drill.demo.studio import STUDIO_NAME, Drawn

LINKS_LAST = timedelta(days=6)
LINKS_ENDED = timedelta(days=20)


def studio_text(shoots: Mapping[str, Drawn], *, link_base: str, now: datetime) -> str:
    """Write the studio file of the demo."""
    fields = {f"{shoot.id.replace('-', '_')}_date": shoot.date.isoformat() for shoot in shoots.values()}
    fields |= _made(shoots, now)
    good, ended = now + LINKS_LAST, now - LINKS_ENDED
    fields |= {
        "studio": STUDIO_NAME,
        "uploads": link(link_base, "cloud/uploads", good),
        "ponies_link": link(link_base, "cloud/archives/marsh-ponies.tar.gz", good),
        "glass_link": link(link_base, "cloud/archives/glassworks.zip", ended),
        "gallery_link": link(link_base, "gallery/glassworks", ended),
    }
    return "".join((_HEAD, _PLACES, _MEDIA, _SHOOTS, _COPIES)).format_map(fields) + SCHEME


def _made(shoots: Mapping[str, Drawn], now: datetime) -> dict[str, str]:
    """Return when each copy was made; the ones that are kept up to date, an hour ago."""
    fen, ponies, glass, stair = (shoots[s] for s in ("fen-harvest", "marsh-ponies", "glassworks", "lighthouse-stair"))
    ferry = shoots["night-ferry"]
    moments = {
        "card_made": ferry.at(1.9),
        "tablet_made": now - timedelta(hours=1),
        "ssd_made": ferry.at(4.5),
        "archive_made": ponies.at(7),
        "computer_made": ponies.at(6),
        "mirror_made": now - timedelta(hours=1),
        "cloud_made": ponies.at(8),
        "gallery_made": glass.at(9),
        "glass_made": glass.at(10),
        "attic_made": stair.at(12),
        "old_made": stair.at(5),
        "fen_made": fen.at(6),
    }
    return {key: rfc3339(moment) for key, moment in moments.items()}


_HEAD = """\
# The studio file says what is kept where, what must be recoverable, and how good is good enough.
# Paths are relative to this file's folder. Everything here is invented; the image files are real.

[studio]
name = "{studio}"
scratch = "scratch"              # rehearsed restores go to a fresh folder in here, and are removed again
reports = "reports"

# What every shoot must meet. A shoot can ask for more in its own [shoots.targets].
[targets]
restore_within = "48 h"          # how long it may take until everything is back
lose_at_most = "24 h"            # nothing older than this may be lost
further_failures = 1             # after the disaster, one more must still cost nothing
verified_within = "100 days"     # how old the last byte-for-byte proof may be

# The first class that matches wins, so the deliverables come before the other JPEG files.
[classes]
deliverables = ["deliver/**"]
edits = ["*.xmp"]
originals = ["*.tif", "*.jpg"]

# In the score a client's finished picture counts three times, an edit once.
[weights]
deliverables = 3
originals = 2
edits = 1

"""

_PLACES = """\
# One fire or theft takes a whole place.
[[places]]
id = "bag"
carried = true                   # goes where the photographer goes

[[places]]
id = "pocket"
carried = true

[[places]]
id = "home"

[[places]]
id = "sister"
offsite = true                   # away from home and studio

# What shares a cable shares its rate.
[[buses]]
id = "hub"
carries = "40 MB/s"

[[buses]]
id = "dock"
carries = "240 MB/s"

"""

_MEDIA = """\
[[media]]
id = "card"
kind = "card"
place = "bag"
reads_at = "90 MB/s"
bus = "hub"

[[media]]
id = "tablet"
kind = "tablet"                  # something runs on it that could overwrite everything: attached, unless said otherwise
place = "bag"
reads_at = "180 MB/s"
bus = "hub"

[[media]]
id = "field-ssd"
kind = "ssd"
place = "bag"
reads_at = "400 MB/s"
bus = "hub"

# Holds no pictures. The cloud asks it for a code at every login, so it is needed all the same.
[[media]]
id = "phone"
kind = "phone"
place = "pocket"
reads_at = "100 MB/s"

[[media]]
id = "computer"
kind = "computer"
place = "home"
reads_at = "350 MB/s"
in_hand_after = "5 h"            # the train ride home

# Follows the computer within minutes. That is handy, and no second copy: a deletion follows just as fast.
# It would be one against deletions if it kept old versions: keeps_versions = "30 days".
[[media]]
id = "mirror"
kind = "network-storage"
place = "home"
mirrors = "computer"
reads_at = "100 MB/s"
in_hand_after = "5 h"

[[media]]
id = "archive-a"
kind = "hard-disk"
place = "home"
reads_at = "160 MB/s"
per_file = "12 ms"               # a hard disk has to seek
in_hand_after = "5 h"
fails_per_year = 0.02
bus = "dock"
recognised_by = "ARCHIVE-A.txt"  # without this file it is another drive

[[media]]
id = "archive-b"
kind = "hard-disk"
place = "home"
reads_at = "160 MB/s"
per_file = "12 ms"
in_hand_after = "5 h"
fails_per_year = 0.02
bus = "dock"
recognised_by = "ARCHIVE-B.txt"

# In a drawer, not plugged in: its folder is there and empty, so it cannot be reached now.
[[media]]
id = "archive-old"
kind = "hard-disk"
place = "home"
reads_at = "90 MB/s"
per_file = "15 ms"
in_hand_after = "6 h"
fails_per_year = 0.06            # nine years old
bus = "dock"
recognised_by = "ARCHIVE-OLD.txt"

# Goes to the sister's house once in a while.
[[media]]
id = "attic-disk"
kind = "hard-disk"
place = "sister"
reads_at = "120 MB/s"
per_file = "12 ms"
in_hand_after = "2 days"

[[media]]
id = "cloud"
kind = "cloud"                   # offsite, unless said otherwise
place = "cloud-host"             # a place is also made by naming it
account = "cloud-login"          # whose lock-out takes it
needs = ["phone"]                # no phone, no code, no cloud
reads_at = "6 MB/s"
per_file = "80 ms"
in_hand_after = "10 min"

# Another firm, where clients look at their pictures.
[[media]]
id = "gallery"
kind = "cloud"
place = "gallery-host"
account = "gallery-login"
reads_at = "4 MB/s"
per_file = "120 ms"

"""

_SHOOTS = """\
# A shoot's manifest is its promise: every file in it must be recoverable.

# On two drives, the computer, the cloud, and one disk elsewhere: failures to spare.
[[shoots]]
id = "fen-harvest"
date = {fen_harvest_date}
client = "Osierfield Growers"
manifest = "manifests/fen-harvest-bag"          # a BagIt folder; the pictures themselves need not be in it

# The computer and what mirrors it: two copies that are one. And one finished picture is only in the cloud.
[[shoots]]
id = "ropewalk-wedding"
date = {ropewalk_wedding_date}
client = "Ines and Tobiah"
manifest = "manifests/ropewalk-wedding.sha256"
[shoots.targets]
further_failures = 2                            # nobody marries twice for the pictures

# On paper it is safe twice. Neither drive can be read today.
[[shoots]]
id = "lighthouse-stair"
date = {lighthouse_stair_date}
client = "Gannet Stack Keepers"
manifest = "manifests/lighthouse-stair.sha256"

# Its links have expired, and the copy on the field drive was interrupted.
[[shoots]]
id = "glassworks"
date = {glassworks_date}
client = "Marrowby Glasshouse"
manifest = "manifests/glassworks.sha256"

# Packed three times and once as a folder, where one picture has rotted; one edit never left the tablet.
[[shoots]]
id = "marsh-ponies"
date = {marsh_ponies_date}
manifest = "manifests/marsh-ponies.xxh128"      # a fast digest is a promise too
[shoots.targets]
restore_within = "3 h"                          # the printer waits; from home alone it would take longer

# Fresh from the job: three copies, all in one bag.
[[shoots]]
id = "night-ferry"
date = {night_ferry_date}
client = "Fährverein Kleinsund"
manifest = "manifests/night-ferry.sha256"
"""

_COPIES = """
# A copy belongs to no shoot: one drive holds parts of many, and what is what is found by its bytes.
# Their order is the order in which a hand would reach for them. Nothing is ever written in a copy.

[[copies]]
on = "archive-a"                                # its id is the medium's, unless it has its own
at = "media/archive-a"
manifest = "manifests/archive-a.xxh64"
made = {archive_made}

[[copies]]
on = "archive-b"
at = "media/archive-b"
manifest = "manifests/archive-b.sha256"
made = {fen_made}

[[copies]]
id = "archive-b-7z"
on = "archive-b"
at = "media/archive-b/marsh-ponies.7z"          # one solid block: small, and a bad sector reaches far
made = {archive_made}

[[copies]]
on = "computer"
at = "media/computer"
manifest = "manifests/computer.md5"
made = {computer_made}

[[copies]]
id = "computer-zip"
on = "computer"
at = "media/computer/marsh-ponies.zip"
made = {computer_made}

[[copies]]
on = "mirror"
at = "media/mirror"                             # no list: what it holds is found by reading it
made = {mirror_made}

[[copies]]
id = "mirror-zip"
on = "mirror"
at = "media/mirror/marsh-ponies.zip"
made = {mirror_made}

[[copies]]
on = "card"
at = "media/card"                               # as the camera left it: flat folders, camera names
made = {card_made}

[[copies]]
on = "tablet"
at = "media/tablet"                             # the tablet renamed the folders
made = {tablet_made}

[[copies]]
on = "field-ssd"
at = "media/field-ssd"
manifest = "manifests/field-ssd.xxh128"
made = {ssd_made}

# A link that is a base: the names in its list are appended. Links say themselves until when they are good.
# The server for these links runs while the demo does; afterwards they count as out of reach.
[[copies]]
on = "cloud"
at = "{uploads}"
manifest = "manifests/cloud.sha256"
made = {cloud_made}

# A link to one archive.
[[copies]]
id = "cloud-ponies"
on = "cloud"
at = "{ponies_link}"
made = {cloud_made}

# This one has expired, and says so.
[[copies]]
id = "cloud-glassworks"
on = "cloud"
at = "{glass_link}"
made = {glass_made}

# This one has expired too, and answers with a friendly web page in place of every picture.
[[copies]]
on = "gallery"
at = "{gallery_link}"
manifest = "manifests/gallery.sha256"
made = {gallery_made}

# No `at`: it cannot be reached from here. Its list still says what should be on it.
[[copies]]
on = "attic-disk"
manifest = "manifests/attic-disk.sha256"
made = {attic_made}

[[copies]]
on = "archive-old"
at = "media/archive-old"                        # empty as long as the drive is in its drawer
manifest = "manifests/archive-old.sha1"
made = {old_made}
"""
