"""The demo's pictures are real image files with the fields that cameras write, and its edits real XMP."""

import io
import re
from datetime import UTC, datetime, timedelta, timezone
from xml.etree import ElementTree

import pytest
from PIL import Image, ImageChops, ImageStat

from drill.demo.pictures import JPEG_SIZE, TIFF_SIZE, Camera, Look, camera_fields, draw, jpeg, sidecar, tiff
from drill.demo.studio import PLANS, draw_shoots

NOW = datetime(2026, 11, 24, 20, 0, tzinfo=UTC)
TAKEN = datetime(2026, 9, 12, 18, 5, 7, tzinfo=timezone(timedelta(hours=-3, minutes=-30)))
CAMERA = Camera("Orrel", "Orrel O5", "ORRL")
LOOK = Look((92, 138, 190), (242, 214, 150), (128, 120, 58), "reeds")

# DCF (JEITA CP-3461), as references.md section 13 quotes it: four characters and 0001 to 9999.
DCF_NAME = re.compile(r"[0-9A-Z_]{4}(?!0000)[0-9]{4}\.(JPG|TIF|xmp)")


def exif_of(data: bytes) -> dict[int, object]:
    with Image.open(io.BytesIO(data)) as image:
        image.load()
        fields = image.getexif()
        return dict(fields) | dict(fields.get_ifd(0x8769))


@pytest.fixture(scope="module")
def shoots():
    return draw_shoots(NOW)


@pytest.mark.parametrize(("write", "kind"), [(jpeg, "JPEG"), (tiff, "TIFF")])
def test_a_file_opens_as_what_it_is_and_says_when_and_with_what_it_was_taken(write, kind):
    data = write(draw("a", LOOK, TIFF_SIZE), camera_fields(CAMERA, taken=TAKEN, artist="Somebody", seed="a"))
    with Image.open(io.BytesIO(data)) as image:
        image.load()
        assert (image.format, image.size, image.mode) == (kind, TIFF_SIZE, "RGB")
    fields = exif_of(data)
    # Exif 2.3 tag numbers, from memory: DateTimeOriginal, OffsetTimeOriginal, Make, Model, Artist.
    assert fields[0x9003] == fields[0x0132] == "2026:09:12 18:05:07"
    assert fields[0x9011] == "-03:30"
    assert (fields[0x010F], fields[0x0110], fields[0x013B]) == ("Orrel", "Orrel O5", "Somebody")
    assert 0 < float(fields[0x829A]) <= 1 / 60
    assert float(fields[0x829D]) >= 2


@pytest.mark.parametrize("motif", sorted({plan.look.motif for plan in PLANS}))
def test_the_same_seed_draws_the_same_picture_and_another_seed_another(motif):
    look = Look(LOOK.high, LOOK.low, LOOK.land, motif)
    first, again, other = (draw(seed, look, JPEG_SIZE) for seed in ("one", "one", "two"))
    assert first.tobytes() == again.tobytes()
    difference = ImageStat.Stat(ImageChops.difference(first, other))
    assert min(difference.mean) > 5  # not merely the grain


def test_a_sidecar_is_well_formed_xmp():
    edited = datetime(2026, 9, 13, 9, 0, tzinfo=UTC)
    data = sidecar("Reeds & <herons>", edited=edited, rating=4)
    text = data.decode("utf-8")
    assert text.startswith('<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>')  # ISO 16684-1, from memory
    root = ElementTree.fromstring(text)
    about = root.find(".//{http://www.w3.org/1999/02/22-rdf-syntax-ns#}Description")
    assert about is not None
    assert about.findtext("{http://ns.adobe.com/xap/1.0/}Rating") == "4"
    assert datetime.fromisoformat(about.findtext("{http://ns.adobe.com/xap/1.0/}ModifyDate") or "") == edited
    assert [item.text for item in about.iter("{http://www.w3.org/1999/02/22-rdf-syntax-ns#}li")] == ["Reeds & <herons>"]


def test_there_are_six_shoots_and_three_hundred_pictures(shoots):
    assert len(shoots) == 6
    pictures = [made.data for shoot in shoots.values() for path, made in shoot.files.items() if path[-4:] != ".xmp"]
    assert len(pictures) == 300
    assert len(set(pictures)) == 300  # no two alike
    assert {data[:3] for data in pictures} == {b"\xff\xd8\xff", b"II*"}


def test_every_picture_of_every_shoot_decodes_and_was_taken_on_the_shoots_days(shoots):
    for shoot in shoots.values():
        for path, made in shoot.files.items():
            if path.endswith(".xmp"):
                ElementTree.fromstring(made.data.decode("utf-8"))
                continue
            taken = datetime.strptime(str(exif_of(made.data)[0x9003]), "%Y:%m:%d %H:%M:%S").date()
            assert 0 <= (taken - shoot.date).days <= 1, (shoot.id, path)


def test_everything_happened_within_the_months_before_now(shoots):
    for shoot in shoots.values():
        assert 0 < (NOW.date() - shoot.date).days < 184, shoot.id
        assert all(shoot.date <= made.modified.date() and made.modified < NOW for made in shoot.files.values())


def test_file_sizes_are_those_of_small_real_pictures(shoots):
    for shoot in shoots.values():
        for path, made in shoot.files.items():
            low, high = {"JPG": (60, 125), "TIF": (300, 500), "xmp": (0.3, 2), "jpg": (30, 90)}[path[-3:]]
            assert low * 1000 < len(made.data) < high * 1000, path


def test_originals_are_named_as_cameras_name_them_each_beside_its_edit(shoots):
    for shoot in shoots.values():
        originals = [path for path in shoot.files if not path.startswith("deliver/")]
        assert all(DCF_NAME.fullmatch(path.rpartition("/")[2]) for path in originals), shoot.id
        stems = [path.rpartition(".")[0] for path in originals]
        assert len(stems) == 2 * len(set(stems)) == 68, shoot.id


def test_camera_numbers_go_from_9999_to_0001(shoots):
    numbers = sorted(int(path[-8:-4]) for path in shoots["glassworks"].files if path.endswith(".xmp"))
    assert numbers == [*range(1, 16), *range(9981, 10000)]
