"""What names tell: formats, leavings of systems, cards, dates, parts of a shoot, keys."""

import random
import unicodedata
from datetime import date

import pytest

from drill import naming
from drill.naming import Nature


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("card/DCIM/100ABCDE/DSC_0001.NEF", Nature.RAW),
        ("a.Dng", Nature.RAW),
        ("a.cr3", Nature.RAW),
        ("a.jpeg", Nature.PICTURE),
        ("scan.tif", Nature.PICTURE),  # whether it has layers, its name does not say
        ("a.HEIC", Nature.PICTURE),
        ("CLIP0001.MP4", Nature.VIDEO),
        ("memo.wav", Nature.SOUND),
        ("a.dng.xmp", Nature.SIDECAR),
        ("MVI_0001.THM", Nature.SIDECAR),
        ("poster.psd", Nature.LAYERED),
        ("SHA256SUMS", Nature.LIST),
        ("lists/card.xxh128", Nature.LIST),
        ("bag/manifest-md5.txt", Nature.LIST),
        ("bag/tagmanifest-sha512.txt", Nature.LIST),
        ("b2sums.txt", Nature.LIST),
        ("heron.sha-256.txt", Nature.LIST),
        ("month.7z", Nature.ARCHIVE),
        ("month.tar.gz", Nature.ARCHIVE),
        ("month.TGZ", Nature.ARCHIVE),
        ("month.7z.001", Nature.ARCHIVE),
        ("notes.txt", Nature.OTHER),
        ("raw", Nature.OTHER),  # no ending: a folder's word
        (".jpg", Nature.OTHER),  # a hidden file of that name, no ending
        ("folder.nef/readme", Nature.OTHER),
        ("C:\\cards\\a.nef", Nature.RAW),
    ],
)
def test_nature(path: str, expected: Nature) -> None:
    assert naming.nature(path) is expected


def test_no_ending_has_two_natures() -> None:
    groups = [getattr(naming, name) for name in dir(naming) if name.endswith("_ENDINGS")]
    assert len(groups) == 8
    assert sum(map(len, groups)) == len(frozenset().union(*groups))
    assert all(ending == ending.lower().strip(".") for group in groups for ending in group)


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        (".DS_Store", ".DS_Store"),
        ("a/b/.ds_store", ".DS_Store"),
        ("DCIM/100ABCDE/._DSC_0001.NEF", "._*"),
        ("a/Thumbs.db", "Thumbs.db"),
        ("a/THUMBS.DB", "Thumbs.db"),
        ("desktop.ini", "desktop.ini"),
        ("System Volume Information/IndexerVolumeGuid", "System Volume Information/"),
        ("System Volume Information", "System Volume Information/"),
        (".Trashes/501/DSC_0001.NEF", ".Trashes/"),
        (".Trash-1000/files/a.jpg", ".Trash-*/"),
        ("$Recycle.Bin/S-1-5/a.jpg", "$RECYCLE.BIN/"),
        ("RECYCLER/x", "RECYCLER/"),
        (".Spotlight-V100/Store-V2/x", ".Spotlight-V100/"),
        (".fseventsd/0001", ".fseventsd/"),
        ("lost+found/#1234", "lost+found/"),
        ("FOUND.000/FILE0001.CHK", "FOUND.*/"),
        ("LOST.DIR/123", "LOST.DIR/"),
        ("DCIM/.thumbnails/1.jpg", ".thumbnails/"),
        ("DCIM/.trashed-1790000000-IMG_1.jpg", ".trashed-*"),
        ("DCIM/.nomedia", ".nomedia"),
        (".com.apple.timemachine.supported", ".com.apple.*"),
        ("a.jpg.part", "*.part"),
        ("a.jpg.crdownload", "*.crdownload"),
        ("~$notes.docx", "~$*"),
        # what only looks like one
        ("a.jpg", None),
        ("thumbs.db.jpg", None),
        ("lost and found/a.jpg", None),
        ("found.1/a.jpg", None),
        ("_DSC0001.NEF", None),
        ("._", None),
        (".part", None),
        ("part/a.jpg", None),
        ("trash-1000/a.jpg", None),
        ("", None),
    ],
)
def test_dropping(path: str, expected: str | None) -> None:
    assert naming.dropping(path) == expected


def test_a_dropping_is_one_wherever_it_lies() -> None:
    for name in (".DS_Store", "._a.nef", "$RECYCLE.BIN", "x.tmp"):
        found = naming.dropping(name)
        assert found is not None
        assert naming.dropping(f"a/b c/{name}") == found
        assert naming.dropping(f"a/{name.upper()}") == found


def test_on_a_card() -> None:
    assert naming.on_a_card("DCIM/100ABCDE/DSC_0001.NEF")
    assert naming.on_a_card("card a/dcim/100abcde/dsc_0001.nef")
    assert not naming.on_a_card("DCIM")
    assert not naming.on_a_card("dcim.jpg")
    assert not naming.on_a_card("my dcim/100ABCDE/a.nef")


def test_a_cards_order_is_that_of_the_camera() -> None:
    shot = [
        *(f"card 1/DCIM/100ABCDE/DSC_{number}.NEF" for number in (9997, 9998, 9999)),
        *(f"card 1/DCIM/101ABCDE/DSC_000{number}.NEF" for number in (1, 2, 3)),
        "card 1/DCIM/101ABCDE/_DSC0004.NEF",  # another colour space, the same counter
        "card 1/DCIM/101ABCDE/DSC_0005.JPG",
        "card 1/DCIM/101ABCDE/DSC_0005.NEF",
        "card 1/DCIM/101ABCDE/readme.txt",
        "card 1/DCIM/MISC/AUTPRINT.MRK",
        "card 2/DCIM/100ABCDE/DSC_0001.NEF",  # another card: never between
    ]
    for seed in range(20):
        mixed = random.Random(seed).sample(shot, len(shot))
        assert sorted(mixed, key=naming.dcf_order) == shot


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-09-12", date(2026, 9, 12)),
        ("2026_09_12", date(2026, 9, 12)),
        ("2026.09.12", date(2026, 9, 12)),
        ("2026 09 12 heron ridge", date(2026, 9, 12)),
        ("2026-9-5", date(2026, 9, 5)),
        ("20260912", date(2026, 9, 12)),
        ("IMG_20260912_101112.jpg", date(2026, 9, 12)),
        ("PXL_20260912_101112345.jpg", date(2026, 9, 12)),
        ("IMG20260912101112.jpg", date(2026, 9, 12)),
        ("heron ridge 2026-09-12T10-11", date(2026, 9, 12)),
        ("2026-09-12 (20260912)", date(2026, 9, 12)),
        ("25.12.2026", date(2026, 12, 25)),
        ("12-25-2026", date(2026, 12, 25)),
        ("05.05.2026", date(2026, 5, 5)),
        ("2024-02-29", date(2024, 2, 29)),
        ("1990-01-01", date(1990, 1, 1)),
        ("2100-12-31", date(2100, 12, 31)),
        # two readings, or two dates
        ("09.12.2026", None),
        ("9.12.2026", None),
        ("2026-09-12 to 2026-09-14", None),
        # no dates
        ("12345678", None),
        ("20269912", None),
        ("20260230", None),
        ("2026-02-29", None),
        ("2026-13-01", None),
        ("1989-12-31", None),
        ("21010101", None),
        ("120260912", None),
        ("2026091299", None),
        ("DSC_2026", None),
        ("2026-09", None),
        ("12.09.26", None),
        ("2026_9_1", None),
        ("2026-09.12", None),
        ("٢٠٢٦-٠٩-١٢", None),
        ("", None),
    ],
)
def test_date_in(text: str, expected: date | None) -> None:
    assert naming.date_in(text) == expected


_PARTS = [
    *(
        "raw",
        "RAWs",
        "Originals",
        "edits",
        "Edited",
        "selects",
        "picks",
        "sidecars",
        "xmp",
        "JPEG",
        "jpg",
        "TIFFs",
        "dng",
    ),
    *("video", "Videos", "audio", "proofs", "previews", "data", "01 raw", "02_edits", "3. selects", "RAW files"),
    *("day1", "day-1", "Day 2", "card1", "card-a", "Card B", "cam1", "camera-a", "body 2", "100ABCDE", "123_ABCD"),
    *("day 2 edits", "edits v2", "raw + jpeg"),
]
_DELIVERIES = [
    *(
        "deliver",
        "Delivery",
        "deliveries",
        "deliverables",
        "delivered",
        "export",
        "Exports",
        "exported",
        "final",
        "finals",
    ),
    *("web", "print", "prints", "hires", "hi-res", "Full Res", "lowres", "03 finals", "final edits", "web jpgs"),
]
_SHOOTS = [
    "Heron Ridge",
    "2026-09-12 heron ridge",
    "Smith finals",
    "Camp",
    "rawson",
    "12 roses",
    "Webster",
    "card trick",
]
_VAGUE = [
    *(
        "DCIM",
        "Pictures",
        "My Photos",
        "images",
        "Camera Roll",
        "archive",
        "archive-a",
        "Backups",
        "backup 2",
        "Media",
        "2026",
    ),
    *(
        "2026-09",
        "2026_09",
        "09",
        "09 September",
        "September 2026",
        "untitled",
        "Untitled-2",
        "New Folder (2)",
        "NO NAME",
    ),
    *("Disk 1", "drive", "USB DRIVE", "Photos 2019-2024", "clients", "", "2020s", "4TB"),
]


@pytest.mark.parametrize("name", _PARTS)
def test_parts_of_a_shoot(name: str) -> None:
    assert naming.is_part(name)
    if name != "edits v2":
        assert not naming.is_delivery(name)


@pytest.mark.parametrize("name", _DELIVERIES)
def test_deliveries_are_parts(name: str) -> None:
    assert naming.is_part(name)
    assert naming.is_delivery(name)


@pytest.mark.parametrize("name", _SHOOTS)
def test_a_shoots_own_name_is_neither_part_nor_vague(name: str) -> None:
    assert not naming.is_part(name)
    assert not naming.is_delivery(name)
    assert not naming.is_vague(name)


@pytest.mark.parametrize("name", _VAGUE)
def test_vague_names(name: str) -> None:
    assert naming.is_vague(name)
    assert not naming.is_delivery(name)


@pytest.mark.parametrize("name", ["2026-09-12", "20260912", "2026-09-12 photos", "heron 2026", "Ridge Trust"])
def test_a_whole_date_or_an_own_word_is_not_vague(name: str) -> None:
    assert not naming.is_vague(name)


def test_raw_jpeg_and_sidecars_of_one_picture_meet() -> None:
    names = [
        "a/IMG_1.dng",
        "b/IMG_1.JPG",
        "img_1.xmp",
        "IMG_1.dng.xmp",
        "IMG_1.THM",
        "IMG_1.WAV",
        "IMG_1.tif",
        "c\\Img_1.PSD",
    ]
    assert {naming.pair_key(name) for name in names} == {"img_1"}


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("IMG_1.xmp.xmp", "img_1.xmp"),  # one sidecar's sidecar, no picture
        ("heron.v2.jpg", "heron.v2"),
        ("notes.txt", "notes.txt"),  # meets no picture called notes
        (".jpg", ".jpg"),
        (".xmp", ".xmp"),
        ("", ""),
    ],
)
def test_pair_key_takes_off_only_what_it_knows(path: str, expected: str) -> None:
    assert naming.pair_key(path) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Heron Ridge", "heron-ridge"),
        ("2026-09-12 — Café Noël", "2026-09-12-cafe-noel"),
        ("Straße & Ærø", "strasse-aero"),
        ("Łódź", "lodz"),
        ("½ day", "1-2-day"),
        ("--a__b..c--", "a-b-c"),
        ("東京", ""),
        ("東京 2026", "2026"),
        ("", ""),
        ("a" * 60, "a" * 40),
        ("a" * 39 + " b", "a" * 39),  # no dash at the end
    ],
)
def test_slug(text: str, expected: str) -> None:
    assert naming.slug(text) == expected
    assert naming.slug(unicodedata.normalize("NFD", text)) == expected
    assert naming.slug(expected) == expected
