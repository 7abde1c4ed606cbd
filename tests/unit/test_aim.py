"""Who is hit: selectors, `each`, what travels by mirrors, what is missed through needs."""

from pathlib import Path

from drill.faults.aim import aim, applies, variants
from drill.model import Copy, Hazard, Medium, Place, Scenario, Selector, Studio


def medium(id_: str, kind: str = "hard-disk", place: str = "home", **more: object) -> Medium:
    given: dict[str, object] = {"attached": False, "offsite": False, "carried": False} | more
    return Medium(id=id_, kind=kind, place=place, **given)  # type: ignore[arg-type]


def copy(id_: str, on: str, form: str | None = "folder") -> Copy:
    return Copy(id_, on, Path(id_) if form != "link" else None, None, form, None, None)


def studio(media: list[Medium], copies: list[Copy]) -> Studio:
    places = {m.place: Place(m.place) for m in media}
    return Studio(
        Path("s.toml"), "S", None, Path("l"), Path("r"), {}, places, {m.id: m for m in media}, {}, (), tuple(copies)
    )


def scenario(*hazards: Hazard) -> Scenario:
    return Scenario("s", "t", "s", hazards)


def hazard(
    effect: str = "gone", each: str | None = None, files: tuple[str, ...] | None = None, **hits: object
) -> Hazard:
    return Hazard(effect=effect, hits=Selector(**hits), each=each, files=files)  # type: ignore[arg-type]


BAG = studio(
    [
        medium("card", "card", "bag", carried=True),
        medium("tablet", "tablet", "bag", carried=True, attached=True),
        medium("pc", "computer", "home", attached=True),
        medium("mirror", "hard-disk", "home", mirrors="pc"),
        medium("second", "hard-disk", "attic", mirrors="mirror"),
        medium("safe", "hard-disk", "attic", mirrors="pc", keeps_versions_s=86400.0),
        medium("behind", "hard-disk", "attic", mirrors="safe"),
        medium("cloud", "cloud", "far", offsite=True, account="login", needs=("tablet",)),
        medium("vault", "cloud", "far", offsite=True, account="other", needs=("cloud",)),
    ],
    [
        *(copy(m, m) for m in ("card", "tablet", "pc", "mirror", "second", "safe", "behind")),
        copy("cloud", "cloud", "link"),
        copy("vault", "vault", "archive"),
    ],
)


def removed(s: Scenario, variant: str | None = None, where: Studio = BAG) -> set[str]:
    return {id_ for id_, fate in aim(s, where, variant).items() if fate.removed}


def hit(s: Scenario, variant: str | None = None) -> set[str]:
    return {id_ for id_, fate in aim(s, BAG, variant).items() if fate.blows}


def test_all_keys_of_a_selector_must_match() -> None:
    assert removed(scenario(hazard(kind=("hard-disk",), place=("home",)))) == {"mirror"}
    assert removed(scenario(hazard(kind=("card", "hard-disk"), place=("bag", "attic")))) == {
        "card",
        "second",
        "safe",
        "behind",
    }


def test_needs_are_followed_to_their_end() -> None:
    # The stolen tablet was the cloud's second factor, and the vault's key was kept in the cloud.
    assert removed(scenario(hazard(medium=("tablet",)))) == {"tablet", "cloud", "vault"}
    fates = aim(scenario(hazard(medium=("tablet",))), BAG, None)
    assert fates["vault"].removed == "vault cannot be read without cloud"


def test_encryption_of_what_is_needed_counts_too_but_not_of_some_files() -> None:
    assert removed(scenario(hazard("encrypted", medium=("tablet",)))) == {"cloud", "vault"}
    assert removed(scenario(hazard("encrypted", files=("*.jpg",), medium=("tablet",)))) == set()


def test_deletions_reach_mirrors_and_their_mirrors_but_not_past_kept_versions() -> None:
    for effect in ("deleted", "altered", "truncated", "encrypted"):
        assert hit(scenario(hazard(effect, medium=("pc",)))) == {"pc", "mirror", "second"}


def test_loss_and_bad_sectors_do_not_travel() -> None:
    assert hit(scenario(hazard("unreadable", medium=("pc",)))) == {"pc"}
    assert removed(scenario(hazard("gone", medium=("pc",)))) == {"pc"}


def test_a_mirror_shares_the_draw_of_the_one_hit() -> None:
    fates = aim(scenario(hazard("altered", medium=("pc",))), BAG, None)
    assert {fates[id_].blows[0].origin for id_ in ("pc", "mirror", "second")} == {"pc"}


def test_copy_and_form_hit_only_those_copies() -> None:
    assert removed(scenario(hazard(form=("archive",)))) == {"vault"}
    assert removed(scenario(hazard(copy=("pc",)))) == {"pc"}
    assert removed(scenario(hazard(form=("link", "archive"), account=("login",)))) == {"cloud"}


def test_expired_is_a_blow_to_links_and_takes_anything_else() -> None:
    fates = aim(scenario(hazard("expired", kind=("cloud",))), BAG, None)
    assert fates["cloud"].removed is None
    assert fates["cloud"].blows[0].hazard.effect == "expired"
    assert fates["vault"].removed


def test_slow_multiplies() -> None:
    slow = Hazard("slow", Selector(offsite=True), factor=0.1)
    fates = aim(scenario(slow, slow), BAG, None)
    assert round(fates["cloud"].rate_factor, 9) == 0.01
    assert fates["pc"].rate_factor == 1.0


def test_each_makes_one_drill_for_every_id_hit_in_the_file_s_order() -> None:
    assert variants(scenario(hazard(each="place")), BAG) == ["bag", "home", "attic", "far"]
    assert variants(scenario(hazard(each="account")), BAG) == ["login", "other"]
    assert variants(scenario(hazard(each="copy", form=("link", "archive"))), BAG) == ["cloud", "vault"]
    assert variants(scenario(hazard(each="medium", carried=True)), BAG) == ["card", "tablet"]
    assert variants(scenario(hazard()), BAG) == [None]
    assert removed(scenario(hazard(each="place")), "attic") == {"second", "safe", "behind"}
    assert removed(scenario(hazard(each="copy")), "pc") == {"pc"}


def test_a_hazard_without_each_stands_in_every_variant() -> None:
    both = scenario(hazard(each="medium", kind=("card",)), hazard(place=("attic",)))
    assert removed(both, "card") == {"card", "second", "safe", "behind"}


def test_what_matches_nothing_does_not_apply() -> None:
    assert not applies(scenario(hazard(kind=("tape",))), BAG)
    assert not applies(scenario(hazard(each="account", kind=("card",))), BAG)
    assert applies(scenario(hazard(kind=("tape",)), hazard(kind=("card",))), BAG)
    assert applies(scenario(hazard()), BAG)


def test_a_medium_without_copies_can_be_hit_and_missed() -> None:
    where = studio([medium("phone", "phone", "bag"), medium("c", "cloud", "far", needs=("phone",))], [copy("c", "c")])
    assert applies(scenario(hazard(kind=("phone",))), where)
    assert removed(scenario(hazard(kind=("phone",))), None, where) == {"c"}
