"""What names of files and folders tell, in the trade's terms: formats, cards, dates, parts of a shoot.

Flows in: names and paths as text with `/`. Flows out: kinds, numbers, dates, keys. Must not know: files, copies,
promises. A name is a hint and never a proof: what a file is, its content decides. Names are compared folded.

Facts: JEITA CP-3461 (DCF) as a manual quotes it: folders of 3 digits 100–999 and 5 characters of 0-9A-Z_, files of 4
characters, 4 digits 0001–9999 and an ending, case does not count. RFC 8493 (bags): `manifest-ALGORITHM.txt`. The
endings are those that cameras write and people keep, gathered by hand; a TIFF counts as a picture, since no name says
that it has layers.
"""

import re
import unicodedata
from datetime import date
from enum import StrEnum
from functools import lru_cache

from drill.globs import fold, last_part


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


RAW_ENDINGS = _words("""
    3fr ari arq arw bay cap cr2 cr3 crw cs1 dcr dcs dng drf eip erf fff gpr iiq k25 kc2 kdc mdc mef mfw mos mrw nef
    nrw obm orf ori pef ptx pxn r3d raf raw rw2 rwl rwz sr2 srf srw stx x3f
""")
PICTURE_ENDINGS = _words("""
    jpg jpeg jpe jfif mpo heic heif hif avif png webp tif tiff gif bmp jxl jp2 j2k jpf jpx insp exr hdr pnm ppm tga
""")
VIDEO_ENDINGS = _words("""
    mov mp4 m4v avi mts m2ts m2t mxf insv 360 braw crm mkv webm mpg mpeg 3gp wmv mod tod vob ogv
""")
SOUND_ENDINGS = _words("wav mp3 m4a aac flac aif aiff ogg opus wma amr bwf caf")
SIDECAR_ENDINGS = _words("xmp thm lrv aae cpi bdm mpl")  # XMP: ISO 16684; the others are written by cameras and phones
LAYERED_ENDINGS = _words("psd psb kra ora xcf afphoto")
ARCHIVE_ENDINGS = _words("7z zip tar tgz txz tzst tbz tbz2 rar gz xz zst bz2")
LIST_ENDINGS = _words("""
    md5 sha1 sha224 sha256 sha384 sha512 b2 b2sum blake2b xxh32 xxh64 xxh3 xxh128 md5sum sha1sum sha224sum sha256sum
    sha384sum sha512sum xxh32sum xxh64sum xxh3sum xxh128sum
""")


class Nature(StrEnum):
    """What kind of file a name says it is."""

    RAW = "raw"
    PICTURE = "picture"
    VIDEO = "video"
    SOUND = "sound"
    SIDECAR = "sidecar"
    LAYERED = "layered work file"
    LIST = "checksum list"
    ARCHIVE = "archive"
    OTHER = "other"


_NATURES = {
    ending: nature
    for nature, endings in (
        (Nature.LIST, LIST_ENDINGS),
        (Nature.ARCHIVE, ARCHIVE_ENDINGS),
        (Nature.LAYERED, LAYERED_ENDINGS),
        (Nature.SIDECAR, SIDECAR_ENDINGS),
        (Nature.SOUND, SOUND_ENDINGS),
        (Nature.VIDEO, VIDEO_ENDINGS),
        (Nature.PICTURE, PICTURE_ENDINGS),
        (Nature.RAW, RAW_ENDINGS),
    )
    for ending in endings
}
_ALGORITHM = r"(?:md5|sha-?(?:1|224|256|384|512)|b(?:lake)?2b?|xxh-?(?:3|32|64|128))"
_LIST_NAME = re.compile(
    rf"(?:tag)?manifest-{_ALGORITHM}\.txt|{_ALGORITHM}sums?(?:\.txt)?|.*\.{_ALGORITHM}(?:sums?)?\.txt"
)
_VOLUME = re.compile(r".*\.(?:7z|zip|tar|rar)\.[0-9]{3,4}")  # one of several volumes of an archive


def ending(path: str) -> str:
    """Return what follows the last dot of the last part, lower-case; "" where there is none or only a leading dot."""
    stem, dot, tail = last_part(path).rpartition(".")
    return tail.lower() if dot and stem else ""


def nature(path: str) -> Nature:
    """Return what kind of file a path's last part says it is."""
    name = last_part(path).lower()
    if _LIST_NAME.fullmatch(name):
        return Nature.LIST
    if _VOLUME.fullmatch(name):
        return Nature.ARCHIVE
    return _NATURES.get(ending(name), Nature.OTHER)


# --- what systems and cameras leave behind -----------------------------------------------------------------------

_LEFT_FILES = (
    *(".DS_Store", ".apdisk", ".VolumeIcon.icns", ".localized", ".database_uuid", "Icon\r"),
    *(".metadata_never_index", ".metadata_never_index_unless_rootfs", ".metadata_direct_scope_only"),
    *("Thumbs.db", "ehthumbs.db", "ehthumbs_vista.db", "desktop.ini", ".nomedia", ".directory"),
)
_LEFT_FOLDERS = (
    *("System Volume Information", "$RECYCLE.BIN", "RECYCLER", "RECYCLED"),
    *(".Spotlight-V100", ".fseventsd", ".TemporaryItems", "Temporary Items", ".DocumentRevisions-V100"),
    *(".PKInstallSandboxManager", "Network Trash Folder", ".AppleDouble", ".AppleDB", ".AppleDesktop"),
    *("lost+found", "LOST.DIR", ".Trashes", ".Trash", ".thumbnails", ".thumbs", "@eaDir", "#recycle", "@Recycle"),
)
_LEFT_FILE = {name.casefold(): name for name in _LEFT_FILES}
_LEFT_FOLDER = {name.casefold(): f"{name}/" for name in _LEFT_FOLDERS}
_LEFT_SHAPES = {
    "._*": r"\._.+",  # what a Mac keeps beside a file on a foreign file system
    ".com.apple.*": r"\.com\.apple\..+",
    ".trashed-*": r"\.trashed-.+",
    ".pending-*": r"\.pending-.+",
    ".fuse_hidden*": r"\.fuse_hidden.+",
    ".nfs*": r"\.nfs[0-9a-f]{8,}",
    "~$*": r"~\$.+",
    "*.part": r".+\.(?:part|partial|filepart)",
    "*.crdownload": r".+\.crdownload",
    "*.tmp": r".+\.te?mp",
}
_LEFT_SHAPE = re.compile("|".join(f"({shape})" for shape in _LEFT_SHAPES.values()), re.DOTALL)
_LEFT_GENERIC = tuple(_LEFT_SHAPES)
_LEFT_FOLDER_SHAPE = re.compile(r"(\.trash)-[0-9]+|(found)\.[0-9]{3}")


def dropping(path: str) -> str | None:
    """Return the generic name ("._*", ".Trashes/") of what a system or camera left behind, if a path is or lies in it.

    Half-written files are among them: a picture bears its own name only once it has come whole. A trash holds what
    somebody threw away: it is no copy of anything.
    """
    folder, _, name = path.casefold().rpartition("/")
    found = _lies_in(folder) or _left_folder(name) or _LEFT_FILE.get(name)
    if found is None and (shaped := _LEFT_SHAPE.fullmatch(name)):
        found = _LEFT_GENERIC[(shaped.lastindex or 0) - 1]
    return found


_MADE_ANEW = frozenset(
    {"system volume information", ".spotlight-v100", ".fseventsd", ".thumbnails", ".thumbs", "@eadir"}
)
_SMALL = 1 << 20


def made_anew(path: str, size: int | None) -> bool:
    """Say whether nothing is lost with a file: a system makes it anew by itself, or it is empty.

    `dropping` asks what is no copy of anything. That is no reason to let it go: a trash, half-written files, and what a
    check of the file system rescued (FOUND.000, LOST.DIR, lost+found) may hold the only copy left.
    """
    folder, _, name = path.casefold().rpartition("/")
    if not _MADE_ANEW.isdisjoint(folder.split("/")):
        return True
    if size == 0:
        return dropping(path) is not None
    usual = name in _LEFT_FILE or name.startswith("._")
    return usual and size is not None and size <= _SMALL


_CAMERA_NOTE = re.compile(
    r"(?:.*/)?(?:.*\.ctg|avf_info/[^/]+\.(?:inp|bnp|int)|sonycard\.ind|m4root/(?:mediapro\.xml|status\.bin)"
    r"|nikon[0-9]{3}\.dsc|autprint\.mrk|bdmv/(?:index|movieobj)\.bdm)"
)


def camera_note(path: str) -> bool:
    """Say whether a file is one that cameras keep on a card for themselves: a catalogue, a counter, a print order.

    The names are from memory, of the commonest makes; none of these files has a picture in it.
    """
    return _CAMERA_NOTE.fullmatch(path.casefold()) is not None


@lru_cache(maxsize=1024)  # a listing gives folder after folder
def _lies_in(folder: str) -> str | None:
    return next(filter(None, map(_left_folder, folder.split("/"))), None)


def _left_folder(name: str) -> str | None:
    if shaped := _LEFT_FOLDER_SHAPE.fullmatch(name):
        return ".Trash-*/" if shaped.group(1) else "FOUND.*/"
    return _LEFT_FOLDER.get(name)


# --- cards (DCF) -------------------------------------------------------------------------------------------------

_DCF_FOLDER = re.compile(r"([1-9][0-9]{2})[0-9A-Z_]{5}", re.IGNORECASE | re.ASCII)
_DCF_FILE = re.compile(r"([0-9A-Z_]{4})([0-9]{4})\.[0-9A-Z]{2,5}", re.IGNORECASE | re.ASCII)
_NO_NUMBER = 10_000  # above every number of a DCF folder and file: what has none comes last


def dcf_folder(name: str) -> int | None:
    """Return the number, 100 to 999, of a folder below DCIM; None if its name is not of that form."""
    found = _DCF_FOLDER.fullmatch(name)
    return int(found.group(1)) if found else None


def dcf_file(name: str) -> tuple[str, int] | None:
    """Return the four characters (upper-case) and the number, 1 to 9999, of a camera's file name; else None.

    The ending may have two to five characters: the standard says three, cameras write `.HEIC` too.
    """
    found = _DCF_FILE.fullmatch(name)
    if found is None or found.group(2) == "0000":
        return None
    return found.group(1).upper(), int(found.group(2))


def on_a_card(path: str) -> bool:
    """Say whether a path lies below a DCIM folder."""
    return "dcim" in fold(path).split("/")[:-1]


def dcf_order(path: str) -> tuple[str, int, int, str]:
    """Return a key that puts a card's pictures in the order the camera made them, as far as names tell.

    By what is above the numbered folder (so that two cards copied side by side stay apart), then the folder's number,
    then the file's: a camera opens the next folder when its numbers run over from 9999 to 0001. Names cannot tell that
    the folder numbers themselves ran over (999 to 100), that a camera was set back by hand, that it goes on from 0001
    inside one folder, or that two cameras wrote into one; capture times can. What has no number comes last.
    """
    above, _, name = path.rpartition("/")
    above, _, folder = above.rpartition("/")
    number, file = dcf_folder(folder), dcf_file(name)
    if number is None:
        above, number = f"{above}/{folder}".lstrip("/"), _NO_NUMBER
    return fold(above), number, file[1] if file else _NO_NUMBER, fold(name)


# --- dates -------------------------------------------------------------------------------------------------------

_YEAR_FIRST = re.compile(r"(?<![0-9])([0-9]{4})([-._ ])([0-9]{2}|(?<=[-.])[0-9])\2([0-9]{2}|(?<=[-.])[0-9])(?![0-9])")
_YEAR_LAST = re.compile(r"(?<![0-9])([0-9]{2}|[0-9](?=[-.]))([-._ ])([0-9]{2}|[0-9](?=[-.]))\2([0-9]{4})(?![0-9])")
_RUN_TOGETHER = re.compile(
    r"(?<![0-9])([0-9]{4})([0-9]{2})([0-9]{2})(?:([01][0-9]|2[0-3])[0-5][0-9][0-5][0-9](?:[0-9]{3})?)?(?![0-9])"
)


def date_in(text: str) -> date | None:
    """Return the one date that a name carries; None if it carries none, several, or one that can be read in two ways.

    Read are year first ("2026-09-12 heron ridge", "2026.9.12", "IMG_20260912_101112", "20260912101112") and year last
    where only one reading is a date ("25.12.2026"): "09.12.2026" is December to some and September to others. A run of
    eight digits is a date only if it is one, from 1990 to 2100. Two-digit years are never read.
    """
    found: set[date | None] = set()
    for year, _, month, day in _YEAR_FIRST.findall(text):
        found.add(_date(year, month, day))
    for one, _, two, year in _YEAR_LAST.findall(text):
        found |= {_date(year, one, two), _date(year, two, one)}
    for year, month, day, _ in _RUN_TOGETHER.findall(text):
        found.add(_date(year, month, day))
    found.discard(None)
    return found.pop() if len(found) == 1 else None


def _date(year: str, month: str, day: str) -> date | None:
    if not 1990 <= int(year) <= 2100:
        return None
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        return None


# --- folders of a shoot ------------------------------------------------------------------------------------------

_DELIVERY = _words("""
    deliver delivery deliveries deliverable deliverables delivered export exports exported final finals web print
    prints hires highres fullres fullsize lowres websize
""")
_PARTS = _DELIVERY | _words("""
    raw raws original originals orig edit edits edited retouch retouched select selects selected selection
    selections pick picks keepers rejects rejected sidecar sidecars xmp jpg jpgs jpeg jpegs tif tifs tiff tiffs dng
    dngs heic png pngs psd psds video videos footage audio sound proof proofs preview previews data private
    avchd bdmv m4root clip thmbnl
""")
_PART_FILLERS = _words("""
    files file images photos pictures and for res size full hi high low ready version set
""")
_NUMBERED = re.compile(r"(?<![^\W_])(?:day|card|cam|camera|body|roll|reel)(?:[ _.-]*[0-9]{1,3}|[ _.-]+[a-z])(?![^\W_])")
_MONTHS = _words("""
    january february march april may june july august september october november december
    jan feb mar apr jun jul aug sep sept oct nov dec
""")
_VAGUE = _MONTHS | _words("""
    dcim picture pictures pics photo photos photography photographs image images img camera roll rolls uploads
    upload archive archives archived backup backups back up bak media untitled new folder no name unnamed disk disc
    drive drives volume volumes vol hard usb ssd hdd nvme sd cf card cards memory stick external portable internal
    storage desktop documents downloads download home users user mnt data files file stuff temp tmp import imports
    imported incoming inbox ingest library libraries sync cloud shared share dump sorted unsorted old all my the and
    of copy copies master masters work works working job jobs client clients shoot shoots project projects misc
    various other others from to for on at with by year month phone tablet computer laptop
""")
_WORDS = re.compile(r"[^\W_]+")
_LEADING_NUMBER = re.compile(r"\A[0-9]{1,2}[ _.-]+(?=\D)")


def is_part(name: str) -> bool:
    """Say whether a folder's name names a part of a shoot ("raw", "02_edits", "Day 1", "100ABCDE") and not a shoot."""
    text = _LEADING_NUMBER.sub("", fold(name).strip())
    if dcf_folder(text) is not None:
        return True
    rest, numbered = _NUMBERED.subn(" ", text)
    words = _WORDS.findall(rest)
    if "".join(words) in _PARTS:
        return True
    named = numbered > 0 or any(word in _PARTS for word in words)
    return named and all(
        word in _PARTS or word in _PART_FILLERS or re.fullmatch(r"v?[0-9]{1,2}", word) for word in words
    )


def is_delivery(name: str) -> bool:
    """Say whether a folder's name names what goes to the client ("deliver", "03 finals", "web", "hi-res")."""
    words = _WORDS.findall(_LEADING_NUMBER.sub("", fold(name).strip()))
    return is_part(name) and ("".join(words) in _DELIVERY or any(word in _DELIVERY for word in words))


def is_vague(name: str) -> bool:
    """Say whether a folder's name says nothing of a shoot ("DCIM", "Photos 2", "archive-a", "2026-09", "Untitled").

    A whole date does say something, and so does any word that is not a general one.
    """
    if date_in(name) is not None:
        return False
    words = _WORDS.findall(fold(name))
    return all(
        word in _VAGUE or len(word) == 1 or re.fullmatch(r"[0-9]+(?:s|nd|st|rd|th|gb|tb)?", word) for word in words
    )


# --- keys --------------------------------------------------------------------------------------------------------

_LATIN = str.maketrans({"ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "ı": "i", "ħ": "h"})
_PICTURE_LIKE = RAW_ENDINGS | PICTURE_ENDINGS | VIDEO_ENDINGS | SOUND_ENDINGS | LAYERED_ENDINGS
_SLUG_LENGTH = 40


def pair_key(path: str) -> str:
    """Return the folder-less, folded key at which a raw, its JPEG and its sidecars meet (`IMG_1.dng.xmp` → `img_1`)."""
    name = fold(last_part(path))
    stem, _, tail = name.rpartition(".")
    if stem and tail in SIDECAR_ENDINGS:
        name = stem
        stem, _, tail = name.rpartition(".")
    return stem if stem and tail in _PICTURE_LIKE else name


def slug(text: str) -> str:
    """Return an id made of a name: a-z, 0-9 and inner `-`, at most 40 characters; "" if nothing of it is Latin."""
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold().translate(_LATIN))
    kept = "".join(c for c in plain if not unicodedata.combining(c))
    return re.sub(r"[^a-z0-9]+", "-", kept).strip("-")[:_SLUG_LENGTH].strip("-")
