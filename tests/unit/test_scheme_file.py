"""The scheme in a studio file: read strictly, defaults as documented, every mistake at once with its key."""

from pathlib import Path

import pytest

from drill.errors import Mistakes
from drill.model import Rhythm, Scheme, Step, Studio
from drill.studio import load_studio

HOUR = 3600.0
DAY = 24 * HOUR
TOP = """
shoots = []
[studio]
name = "Heron Kiln"
[[places]]
id = "bag"
carried = true
"""
MEDIA = "".join(
    f'[[media]]\nid = "{id_}"\nkind = "{kind}"\nplace = "{place}"\n'
    for id_, kind, place in (
        ("card", "card", "bag"),
        ("tablet", "tablet", "bag"),
        ("loft", "hard-disk", "house"),
        ("cloud", "cloud", "far"),
    )
)
SCHEME = '[scheme]\nmade_on = ["card"]\n'
IMPORT = '[[steps]]\nid = "in"\ndo = "copy"\nfrom = "card"\nto = "tablet"\n'


def step(id_: str, do: str, **more: str) -> str:
    ends = "".join(f"{key.rstrip('_')} = {value}\n" for key, value in more.items())
    return f'[[steps]]\nid = "{id_}"\ndo = "{do}"\n{ends}'


def load(folder: Path, text: str) -> Studio:
    path = folder / "studio.toml"
    path.write_text(TOP + MEDIA + text, encoding="utf-8")
    return load_studio(path)


def scheme(folder: Path, text: str) -> Scheme:
    found = load(folder, text).scheme
    assert found is not None
    return found


def mistakes_of(folder: Path, text: str) -> str:
    with pytest.raises(Mistakes) as caught:
        load(folder, text)
    assert all(mistake.where == str(folder / "studio.toml") for mistake in caught.value.mistakes)
    return str(caught.value)


def test_a_studio_without_one_has_none(tmp_path: Path) -> None:
    assert load(tmp_path, "").scheme is None


def test_defaults(tmp_path: Path) -> None:
    found = scheme(tmp_path, SCHEME + IMPORT)
    assert found.made_on == ("card",)
    assert (found.begins_s, found.ends_s, found.away_for_s, found.replaced_within_s) == (
        9 * HOUR,
        18 * HOUR,
        3 * DAY,
        30 * DAY,
    )
    assert (found.zone, found.home, found.size, found.files) == (None, None, None, None)
    assert found.risks.theft is None and found.costs.buy == {} and found.costs.lasts_s == 5 * 365.25 * DAY
    assert found.steps == (Step("in", "copy", "card", "tablet"),)


def test_everything_that_can_be_said(tmp_path: Path) -> None:
    text = """
[scheme]
made_on = ["card", "tablet"]
begins = "7:30"
ends = 22:15:00
zone = "Europe/Lisbon"
away_for = "2 days"
home = "house"
size = "90 GB"
files = 2000
replaced_within = "2 weeks"
[[steps]]
id = "keep"
do = "move"
from = "card"
to = "loft"
follows = "up"
after = "90 min"
only_when = "home"
only_once_on = ["cloud", "tablet"]
takes = "2 h"
done = 0.9
again = "1 day"
minutes = 5
[[steps]]
id = "up"
do = "copy"
from = "tablet"
to = "cloud"
[risks]
theft = 0.02
fire = 0
lockout = 0.01
deletion = 1
attack = 0.003
rot = 0.0001
spread = 4
[costs]
currency = "EUR"
hour = 30
buy = { hard-disk = 110, ssd = 150.5 }
yearly = { cloud = 120 }
lasts = "4 years"
"""
    found = scheme(tmp_path, text)
    assert (found.begins_s, found.ends_s, found.zone, found.home) == (
        7.5 * HOUR,
        22.25 * HOUR,
        "Europe/Lisbon",
        "house",
    )
    assert (found.size, found.files, found.replaced_within_s) == (90_000_000_000, 2000, 14 * DAY)
    assert found.steps[0] == Step(
        id="keep",
        do="move",
        source="card",
        target="loft",
        after_s=1.5 * HOUR,
        follows="up",
        only_when="home",
        only_once_on=("cloud", "tablet"),
        takes_s=2 * HOUR,
        done=0.9,
        again_s=DAY,
        minutes=5.0,
    )
    risks, costs = found.risks, found.costs
    assert (risks.theft, risks.fire, risks.lockout, risks.deletion) == (0.02, 0.0, 0.01, 1.0)
    assert (risks.attack, risks.rot, risks.spread) == (0.003, 0.0001, 4.0)
    assert (costs.currency, costs.hour, costs.lasts_s) == ("EUR", 30.0, 4 * 365.25 * DAY)
    assert (costs.buy, costs.yearly) == ({"hard-disk": 110.0, "ssd": 150.5}, {"cloud": 120.0})


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ({"every": '"day"'}, Rhythm("day", (), 12 * HOUR)),
        ({"every": '"week"', "at": '"20:00"'}, Rhythm("week", (0,), 20 * HOUR)),
        ({"every": '"week"', "on": '["Sunday", "friday", "sunday"]'}, Rhythm("week", (4, 6), 12 * HOUR)),
        ({"every": '"month"'}, Rhythm("month", (1,), 12 * HOUR)),
        ({"every": '"month"', "on": "[31, 15]", "at": '"00:00"'}, Rhythm("month", (15, 31), 0.0)),
        ({"every": '"quarter"', "on": "2"}, Rhythm("quarter", (2,), 12 * HOUR)),
        ({"every": '"year"'}, Rhythm("year", (101,), 12 * HOUR)),
        ({"every": '"year"', "on": '["03-31", "02-29"]'}, Rhythm("year", (229, 331), 12 * HOUR)),
    ],
)
def test_rhythms(tmp_path: Path, keys: dict[str, str], expected: Rhythm) -> None:
    text = SCHEME + step("in", "copy", from_='"card"', to='"loft"', **keys)
    assert scheme(tmp_path, text).steps[0].rhythm == expected


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('made_on = ["cart"]', "scheme.made_on: no medium has the id 'cart'"),
        ('made_on = ["card", "card"]', "scheme.made_on: 'card' is there twice"),
        ("made_on = []", "scheme.made_on: names no medium; the camera writes to one at least: card, tablet"),
        ('begins = "dawn"', "scheme.begins: must be a time of day, not 'dawn'; write it like \"20:00\""),
        ('ends = "24:00"', "scheme.ends: must be a time of day"),
        ('ends = "09:00"', "scheme.ends: is the same as begins"),
        ('zone = "Europe/Saltmarsh"', "scheme.zone: no time zone is called 'Europe/Saltmarsh'"),
        ('zone = "Europe"', "scheme.zone: no time zone is called 'Europe'"),
        ('zone = "../Europe/Lisbon"', "scheme.zone: no time zone"),
        ('away_for = "3 moons"', "scheme.away_for: '3 moons' is not written like"),
        ('away_for = "101 years"', "scheme.away_for: is more than a hundred years"),
        ('home = "barn"', "scheme.home: no place has the id 'barn'; places: bag, house, far"),
        ('home = "bag"', "scheme.home: 'bag' is carried along"),
        ('size = "lots"', "scheme.size: 'lots' is not written like"),
        ('size = "0 GB"', "scheme.size: must be more than 0"),
        ("files = 0", "scheme.files: must be from 1 to 1000000000, not 0"),
        ("files = 1000000001", "scheme.files: must be from 1 to 1000000000"),
        ('replaced_within = "23 h"', "scheme.replaced_within: must be at least 24 h"),
        ("colour = 1", "scheme.colour: is not a key this table has"),
    ],
)
def test_mistakes_in_the_scheme(tmp_path: Path, line: str, said: str) -> None:
    made_on = "" if line.startswith("made_on") else 'made_on = ["card"]\n'
    assert said in mistakes_of(tmp_path, f"[scheme]\n{made_on}{line}\n{IMPORT}")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[steps]]\ndo = "copy"\nfrom = "card"\nto = "loft"\n', "steps[1].id: is missing"),
        (IMPORT.replace('"copy"', '"clone"'), "steps[in].do: 'clone' is not one of them; use one of: copy, move"),
        (IMPORT.replace('do = "copy"\n', ""), "steps[in].do: is missing"),
        (IMPORT.replace('from = "card"\n', ""), "steps[in].from: is missing"),
        (step("e", "erase", to='"card"'), "steps[e].to: a step that does 'erase' has none; it has from alone"),
        (step("v", "verify", from_='"card"', to='"card"'), "steps[v].from: a step that does 'verify' has none"),
        (step("v", "verify", to='"lift"'), "steps[v].to: no medium has the id 'lift'; media: card, tablet, loft"),
        (step("m", "move", from_='"card"', to='"card"'), "steps[m].to: 'card' is where it comes from"),
        (IMPORT + IMPORT, "steps[in].id: 'in' is there twice"),
        (IMPORT + 'follows = "out"\n', "steps[in].follows: no step has the id 'out'; steps: in"),
        (IMPORT + 'follows = "in"\n', "steps[in].follows: goes round in a ring: in follows in"),
        (IMPORT + 'after = "-1 h"\n', "steps[in].after: '-1 h' is not written like"),
        (IMPORT + 'after = "5000 weeks"\nafter = "1 h"\n', "is not TOML"),
        (IMPORT + 'takes = "1e9 h"\n', "steps[in].takes: '1e9 h' is not written like"),
        (IMPORT + 'every = "fortnight"\n', "steps[in].every: 'fortnight' is not one of them"),
        (IMPORT + "on = 1\n", "steps[in].on: says something only together with every"),
        (IMPORT + 'at = "20:00"\n', "steps[in].at: says something only together with every"),
        (IMPORT + 'every = "day"\non = 1\n', "steps[in].on: has no meaning with every day"),
        (IMPORT + 'every = "day"\nat = "20.00"\n', "steps[in].at: must be a time of day"),
        (IMPORT + 'every = "week"\non = 1\n', 'steps[in].on: must be a day of the week such as "sunday", not 1'),
        (IMPORT + 'every = "month"\non = 32\n', "steps[in].on: must be a day of the month from 1 to 31, not 32"),
        (IMPORT + 'every = "month"\non = [1, "2"]\n', "steps[in].on: must be a day of the month"),
        (IMPORT + 'every = "month"\non = []\n', "steps[in].on: must be a day of the month"),
        (IMPORT + 'every = "quarter"\non = true\n', "steps[in].on: must be a day from 1 to 31"),
        (IMPORT + 'every = "year"\non = "02-30"\n', 'steps[in].on: must be month and day such as "03-31"'),
        (IMPORT + 'every = "day"\nagain = "1 h"\n', "steps[in].again: and every do not go together"),
        (IMPORT + 'again = "0 h"\n', "steps[in].again: must be more than 0"),
        (IMPORT + 'only_when = "abroad"\n', "steps[in].only_when: 'abroad' is not one of them; use one of: away, home"),
        (IMPORT + 'only_once_on = ["attic"]\n', "steps[in].only_once_on: no medium has the id 'attic'"),
        (IMPORT + 'only_once_on = "tablet"\n', "steps[in].only_once_on: waits for 'tablet', which this step makes"),
        (step("e", "erase", from_='"card"', only_once_on='"card"'), "steps[e].only_once_on: 'card' is what is erased"),
        (IMPORT + "done = 0\n", "steps[in].done: must be more than 0 and at most 1, not 0"),
        (IMPORT + "done = 1.5\n", "steps[in].done: must be more than 0 and at most 1, not 1.5"),
        (IMPORT + "minutes = -1\n", "steps[in].minutes: must be a number of at least 0"),
        (IMPORT + "often = true\n", "steps[in].often: is not a key this table has"),
        (step("e", "edit"), "steps[e].to: is missing"),
        (step("e", "edit", to='"attic"'), "steps[e].to: no medium has the id 'attic'"),
        (
            step("e", "edit", to='"tablet"', from_='"card"'),
            "steps[e].from: a step that does 'edit' has none; it has to",
        ),
        (
            step("e", "edit", to='"tablet"', every='"day"'),
            "steps[e].every: a step that does 'edit' has none; edits are",
        ),
        (step("e", "edit", to='"tablet"', at='"20:00"'), "steps[e].at: a step that does 'edit' has none; edits are"),
        (step("e", "edit", to='"tablet"', on="3"), "steps[e].on: a step that does 'edit' has none; edits are made"),
        (step("e", "edit", to='"tablet"', again='"1 h"'), "steps[e].again: a step that does 'edit' has none"),
        (step("e", "edit", to='"tablet"', done="0.9"), "steps[e].done: a step that does 'edit' has none; what is not"),
        (step("e", "edit", to='"tablet"', minutes="5"), "steps[e].minutes: a step that does 'edit' has none"),
        (step("e", "edit", to='"tablet"', only_once_on='"card"'), "steps[e].only_once_on: a step that does 'edit'"),
    ],
)
def test_mistakes_in_steps(tmp_path: Path, text: str, said: str) -> None:
    assert said in mistakes_of(tmp_path, SCHEME + text)


def test_a_key_that_edits_have_not_is_one_mistake(tmp_path: Path) -> None:
    for key, value in {"at": '"20:00"', "on": "3", "every": '"week"'}.items():
        with pytest.raises(Mistakes) as caught:
            load(tmp_path, SCHEME + IMPORT + step("e", "edit", to='"tablet"', **{key: value}))
        assert len(caught.value.mistakes) == 1


def test_a_step_that_edits_is_read_and_warned_of_where_nothing_comes(tmp_path: Path) -> None:
    late = step("e", "edit", to='"tablet"', after='"2 days"', only_when='"home"', follows='"in"', takes='"1 h"')
    found = load(tmp_path, SCHEME + IMPORT + late)
    assert found.warnings == ()
    assert found.scheme is not None
    assert found.scheme.steps[-1] == Step(
        "e", "edit", target="tablet", after_s=2 * 24 * HOUR, follows="in", only_when="home", takes_s=HOUR
    )
    nowhere = load(tmp_path, SCHEME + IMPORT + step("e", "edit", to='"loft"'))
    assert nowhere.warnings == ("the step 'e' is never done: no step brings a shoot to loft",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[risks]\ntheft = -0.1\n", "risks.theft: must be a number of at least 0"),
        ("[risks]\ntheft = 10001\n", "risks.theft: must be a number of at most 10,000"),
        (f"[risks]\ntheft = 1{'0' * 400}\n", "risks.theft: must be a number of at most 10,000"),
        ("[risks]\ntheft = nan\n", "risks.theft: must be a number of at least 0, not nan"),
        ("[risks]\nrot = inf\n", "risks.rot: must be a number of at most 10,000"),
        ("[risks]\nspread = 1e300\n", "risks.spread: must be a number of at most 1,000"),
        ("[costs]\nhour = 1e300\n", "costs.hour: must be a number of at most 1,000,000,000,000,000"),
        ("[risks]\nspread = 0.5\n", "risks.spread: must be a number of at least 1"),
        ("[risks]\nflood = 0.1\n", "risks.flood: is not a key this table has"),
        ('[costs]\nhour = "30"\n', "costs.hour: must be a number of at least 0"),
        ("[costs]\nbuy = { floppy = 1 }\n", "costs.buy.floppy: is no kind of medium"),
        ('[costs]\nyearly = { cloud = "120" }\n', "costs.yearly.cloud: must be a number"),
        ('[costs]\nlasts = "0 years"\n', "costs.lasts: must be at least"),
        ("[costs]\nrent = 1\n", "costs.rent: is not a key this table has"),
    ],
)
def test_mistakes_in_risks_and_costs(tmp_path: Path, text: str, said: str) -> None:
    assert said in mistakes_of(tmp_path, SCHEME + IMPORT + text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (IMPORT, "scheme: is missing; add [scheme]"),
        (SCHEME, "steps: is missing"),
        ("[scheme]\n" + IMPORT, "scheme.made_on: is missing"),
        ("[risks]\ntheft = 0.1\n", "scheme: is missing"),
        ("[risks]\ntheft = 0.1\n", "steps: is missing; say in [[steps]] what is done with a shoot, or take out"),
        ("[costs]\nhour = 1\n", "steps: is missing"),
        ("[schema]\n", 'schema: is not a key this table has; did you mean "scheme"?'),
        ("[steps]\n" + SCHEME, "steps: must be an array of tables; write it as [[steps]]"),
    ],
)
def test_what_belongs_together(tmp_path: Path, text: str, said: str) -> None:
    assert said in mistakes_of(tmp_path, text)


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    text = SCHEME + 'home = "barn"\n' + IMPORT + "done = 2\n" + step("v", "verify", to='"lift"') + "[risks]\nrot = -1\n"
    told = mistakes_of(tmp_path, text).splitlines()
    assert len(told) == 4


def test_a_ring_of_three_is_told_once(tmp_path: Path) -> None:
    ring = (
        step(a, "verify", to='"card"', follows=f'"{b}"') for a, b in (("a", "b"), ("b", "c"), ("c", "a"), ("d", "a"))
    )
    told = mistakes_of(tmp_path, SCHEME + "".join(ring))
    assert told.endswith(
        "goes round in a ring: a follows b follows c follows a; let one of them come after the shoot instead"
    )
    assert len(told.splitlines()) == 1


@pytest.mark.parametrize("first", ['again = "1 day"\n', 'every = "week"\n'])
def test_what_follows_a_step_that_comes_again_needs_no_again(tmp_path: Path, first: str) -> None:
    middle = step("look", "verify", to='"tablet"', follows='"in"')
    last = step("look-2", "verify", to='"tablet"', follows='"look"', again='"1 h"')
    assert "steps[look-2].again: 'look-2' follows a step that comes again" in mistakes_of(
        tmp_path, SCHEME + IMPORT + first + middle + last
    )


def test_a_step_that_can_never_do_anything_is_told(tmp_path: Path) -> None:
    text = SCHEME + IMPORT + step("up", "copy", from_='"loft"', to='"cloud"') + step("look", "verify", to='"cloud"')
    text += step("format", "erase", from_='"card"', only_once_on='["tablet", "loft", "cloud"]')
    assert load(tmp_path, text).warnings == (
        "the step 'up' is never done: no step brings a shoot to loft",
        "the step 'look' is never done: no step brings a shoot to cloud",
        "the step 'format' is never done: no step brings a shoot to cloud, loft",
    )


def test_what_a_mirror_brings_is_no_warning(tmp_path: Path) -> None:
    mirrored = MEDIA.replace('place = "far"', 'place = "far"\nmirrors = "tablet"')
    path = tmp_path / "studio.toml"
    path.write_text(TOP + mirrored + SCHEME + step("look", "verify", to='"cloud"') + IMPORT, encoding="utf-8")
    assert load_studio(path).warnings == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            IMPORT + step("wipe", "erase", from_='"card"', after='"2 days"', only_once_on='["tablet"]'),
            ["the step 'wipe' is tried once only: where tablet has no copy by then, card is never cleared"],
        ),
        (IMPORT + step("wipe", "erase", from_='"card"', only_once_on='["tablet"]', again='"1 day"'), []),
        (IMPORT + step("wipe", "erase", from_='"card"', only_once_on='["tablet"]', every='"week"'), []),
        (
            IMPORT + 'every = "day"\n' + step("w", "erase", from_='"card"', only_once_on='"tablet"', follows='"in"'),
            [],
        ),
        (
            IMPORT + "done = 0.9\n" + step("up", "copy", from_='"tablet"', to='"cloud"', follows='"in"'),
            ["the step 'up' follows 'in', which is forgotten at times and not made up for: then 'up' finds nothing on"],
        ),
        (IMPORT + 'done = 0.9\nagain = "1 day"\n' + step("look", "verify", to='"tablet"', follows='"in"'), []),
        (IMPORT + "done = 0.9\n" + step("up", "copy", from_='"card"', to='"cloud"', follows='"in"'), []),
        (
            IMPORT + 'every = "month"\ntakes = "45 days"\n',
            ["the step 'in' takes 45 days, longer than it is from one time to the next (every month)"],
        ),
        (IMPORT + 'every = "month"\ntakes = "27 days"\n', []),
        (IMPORT + 'every = "week"\non = ["monday", "friday"]\ntakes = "4 days"\n', ["the step 'in' takes 4 days"]),
    ],
)
def test_what_is_hardly_meant_is_told(tmp_path: Path, text: str, said: list[str]) -> None:
    found = load(tmp_path, SCHEME + text).warnings
    assert len(found) == len(said), found
    assert all(one.startswith(start) for one, start in zip(found, said, strict=True)), found


def test_media_that_need_each_other_are_told_once(tmp_path: Path) -> None:
    path = tmp_path / "studio.toml"
    ringed = MEDIA.replace('place = "far"', 'place = "far"\nneeds = "tablet"')
    ringed = ringed.replace('"tablet"\nplace', '"tablet"\nneeds = ["loft", "cloud"]\nplace')
    path.write_text(TOP + ringed + SCHEME + IMPORT, encoding="utf-8")
    assert load_studio(path).warnings == (
        "tablet needs cloud needs tablet: without one of them none can be read; take out the `needs` that there is a "
        "way around",
    )


def test_a_shoot_that_ends_earlier_in_the_day_than_it_begins_ends_the_next_day(tmp_path: Path) -> None:
    found = scheme(tmp_path, SCHEME + 'begins = "14:00"\nends = "02:30"\n' + IMPORT)
    assert (found.begins_s, found.ends_s) == (14 * HOUR, 26.5 * HOUR)
