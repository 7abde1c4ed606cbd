"""What a copy's own list says to be other bytes than promised: known without reading anything."""

from datetime import date

from drill.coverage import other_bytes
from drill.model import Digest, Listed, Promised, Shoot, Targets


def digest(text: str, kind: str = "md5") -> tuple[Digest, ...]:
    return (Digest(kind, text.rjust(32, "0")),)


def shoot(id_: str, **files: str) -> Shoot:
    promise = tuple(Promised(f"raw/{name}.DNG", digest(text), None, "other") for name, text in files.items())
    return Shoot(id_, date(2026, 9, 12), None, promise, Targets())


def listed(path: str, text: str, kind: str = "md5") -> Listed:
    return Listed(path, digest(text, kind))


REED = shoot("reed", R1="a1", R2="a2", R3="a3")


def found(*items: Listed, shoots: tuple[Shoot, ...] = (REED,)) -> list[tuple[str, str]]:
    return [(path, file.path) for path, file in other_bytes(items, shoots)]


def test_a_name_beside_files_of_its_shoot_with_other_bytes_is_told() -> None:
    assert found(listed("x/r1.dng", "a1"), listed("x/R2.DNG", "bad")) == [("x/R2.DNG", "raw/R2.DNG")]


def test_what_the_copy_holds_elsewhere_under_any_name_is_not() -> None:
    assert found(listed("x/R1.DNG", "a1"), listed("x/R2.DNG", "bad"), listed("y/renamed.dng", "a2")) == []


def test_a_used_again_name_in_another_folder_is_another_picture() -> None:
    assert found(listed("x/R1.DNG", "a1"), listed("y/R2.DNG", "other")) == []


def test_a_file_promised_in_another_shoot_is_that_one() -> None:
    other = shoot("kiln", R2="k2")
    assert found(listed("x/R1.DNG", "a1"), listed("x/R2.DNG", "k2"), shoots=(REED, other)) == []


def test_lists_of_another_kind_say_nothing() -> None:
    assert found(listed("x/R1.DNG", "a1"), listed("x/R2.DNG", "bad", "sha1")) == []
    assert found(listed("x/R2.DNG", "bad")) == []
    assert found() == []


def test_windows_paths() -> None:
    assert found(listed("X\\r1.dng", "a1"), listed("x\\R2.DNG", "bad")) == [("x\\R2.DNG", "raw/R2.DNG")]
