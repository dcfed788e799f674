"""Asking for pieces in plain words: what a filter means, on both databases, and what is said of one that cannot be."""

from __future__ import annotations

import itertools
import math
import re

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from contrastkit.compose.groups import Breaks
from contrastkit.errors import InvalidInputError
from contrastkit.keep import filters, finding, schema
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.keep.filters import Missing, Span, Words, parse_filter

pytest_plugins = ["postgres"]


def terms(text, **options):
    """Every condition as its field, its tests and whether it is negated; clauses with one term only."""
    clauses = parse_filter(text, **options).clauses
    assert all(len(clause) == 1 for clause in clauses)
    return [(clause[0].field.name, *clause[0].tests, *(["not"] if clause[0].negated else [])) for clause in clauses]


# --- what is read -----------------------------------------------------------------------------------------------------


def test_what_people_say_is_what_they_get():
    """The sentence on the label of the drawer could not be typed as it stands."""
    assert terms("mediums on red ground at least 3 inches, not yet used") == [
        ("group", Words(("medium",))),
        ("ground", Words(("red",))),
        ("side", Span(pytest.approx(76.2, abs=1e-5), None)),
        ("state", Words(("used",)), "not"),
    ]


@pytest.mark.parametrize(("text", "expected"), [
    ("ground=red", [("ground", Words(("red",)))]),
    ('ground="dark red",blue', [("ground", Words(("dark red", "blue")))]),
    ("ground = red", [("ground", Words(("red",)))]),
    ('ground="" dark', [("ground", Words(("",))), ("group", Words(("dark",)))]),
    ("on dark red ground", [("ground", Words(("dark red",)))]),
    ("paint=fox", [("paints", Words(("fox",)))]),
    ("tag!=sold", [("tag", Words(("sold",)), "not")]),
    ("-tag=sold", [("tag", Words(("sold",)), "not")]),
    ("not tag=sold", [("tag", Words(("sold",)), "not")]),
    ("not -tag=sold", [("tag", Words(("sold",)))]),
    ('"at hand"', [("text", Words(("at hand",)))]),
    ("at hand", [("state", Words(("at hand",)))]),
    ("STATE=used,Lost", [("state", Words(("used", "lost")))]),
    ("unused", [("state", Words(("used",)), "not")]),
    ("darks", [("group", Words(("dark",)))]),
    ('"dark"', [("text", Words(("dark",)))]),
    ("wet", [("surface", Words(("wet",)))]),
    ("flagged", [("flag", Words(("",)), "not")]),
    ("cloudy sky", [("text", Words(("cloudy",))), ("text", Words(("sky",)))]),
    ('note="say ""hi"""', [("note", Words(('say "hi"',)))]),
    ('tag="a,b",c', [("tag", Words(("a,b", "c")))]),
    ("lightness=40..70", [("lightness", Span(40.0, 70.0))]),
    ("lightness=40..", [("lightness", Span(40.0, None))]),
    ("lightness≥40", [("lightness", Span(40.0, None))]),
    ("lightness>40", [("lightness", Span(40.0, None, False))]),
    ("lightness=50", [("lightness", Span(49.5, 50.5))]),
    ("lightness=50.2", [("lightness", Span(50.2 - 0.05, 50.2 + 0.05))]),
    ("coverage<60%", [("coverage", Span(None, 0.6, True, False))]),
    ("hue=330..30", [("hue", Span(330.0, 30.0))]),
    ("side=unknown", [("side", Missing())]),
    ("added=2025", [("added", Span("2025-01-01", "2026-01-01", True, False))]),
    ("added=2025-12", [("added", Span("2025-12-01", "2026-01-01", True, False))]),
    ("added>2024-02-29", [("added", Span("2024-03-01", None))]),
    ("added<=2025-03", [("added", Span(None, "2025-04-01", True, False))]),
    ("added=2025..2025-03-09", [("added", Span("2025-01-01", "2025-03-10", True, False))]),
    ("", []),
    (" , ", []),
])  # fmt: skip
def test_each_way_to_say_it(text, expected):
    """A word would mean something else than the manual says."""
    assert terms(text) == expected


@pytest.mark.parametrize(
    "text",
    ["side>=3 1/2 in", 'side>="3 1/2 in"', 'side>=3 1/2"', "side >= 3½ inches", "at least 3 1/2 in", "side>=88.9",
     "side>=88.9mm", "side>=8.89 cm", "side >=3.5in"],
)  # fmt: skip
def test_a_length_is_written_as_on_any_label(text):
    """Half of the ways in which people write lengths would find nothing, or find text."""
    assert terms(text) == [("side", Span(pytest.approx(88.9, abs=1e-5), None))]


def test_a_bare_number_is_in_the_unit_in_use():
    """Whoever works in inches would ask for 3 mm."""
    assert terms("side>=3", unit="in") == [("side", Span(pytest.approx(76.2, abs=1e-5), None))]
    assert terms("side=2..3in") == [("side", Span(pytest.approx(50.8, abs=1e-5), pytest.approx(76.2, abs=1e-5)))]


def test_or_joins_the_two_beside_it():
    """`dark or light` on red would mean dark, or light on red."""
    clauses = parse_filter("dark or light ground=red").clauses
    assert [[term.field.name for term in clause] for clause in clauses] == [["group", "group"], ["ground"]]


def test_a_project_with_other_groups_is_asked_in_its_own_words():
    """`medium dark` would be taken for two conditions."""
    groups = ("dark", "medium dark", "medium light", "light")
    assert terms("medium dark", groups=groups) == [("group", Words(("medium dark",)))]
    assert terms("medium", groups=groups) == [("text", Words(("medium",)))]


def test_words_are_those_of_the_catalogue():
    """A state that the catalogue has could not be asked for."""
    assert filters.STATES == schema.STATES
    assert filters.SURFACES == schema.SURFACES


@given(st.text(max_size=60))
@settings(max_examples=300)
def test_any_text_is_a_filter_or_is_refused_in_a_sentence(text):
    """A slip of the fingers would end in a traceback."""
    try:
        parsed = parse_filter(text)
    except InvalidInputError as error:
        assert re.search(r"[.!?]$", str(error)) or '"' in str(error)
        assert len(str(error)) < 900
    else:
        assert all(term.tests for clause in parsed.clauses for term in clause)


@pytest.mark.parametrize(("text", "message"), [
    ("gruond=red", "A filter cannot ask for 'gruond'; the nearest it can ask for is 'ground'"),
    ("pant=fox", "the nearest it can ask for is 'paints'"),
    ("zzzz=1", "cannot ask for 'zzzz'; it can ask for name, ground, paints"),
    ("state=usd", "state must be one of at hand, set aside, used, lost; got 'usd': .* 'used'"),
    ("group=meduim", "group must be one of dark, medium, light; got 'meduim': .* 'medium'"),
    ("surface=dry", "surface must be one of wet, cured, unknown; got 'dry'"),
    ("side>=abc", "The side must be a number and a unit; got 'abc'"),
    ('side>="3 kg"', "must be in one of mm, cm, m, in, ft, yd; got 'kg'"),
    ("lightness>=light", "lightness must be compared with a number, as in lightness>=40; got 'light'"),
    ("lightness=70..40", "A range must run from less to more; got '70..40'. Write 40..70"),
    ("lightness=..", "A range must have an end; got '..'"),
    ("lightness=1..2..3", "A range has two ends, as in lightness=40..70; got '1..2..3'"),
    ("lightness>=4..5", "A range has two ends"),
    ("lightness>=1,2", "More or less than one value can be asked for; got '1,2'"),
    ("lightness>=unknown", "lightness must be compared with a value; got 'unknown'"),
    ("added=2025-13", "added must be a year, month or day such as 2025, 2025-03 or 2025-03-09; got '2025-13'"),
    ("added=yesterday", "added must be a year, month or day"),
    ("ground>=red", "Only numbers and dates can be more or less; ground is a text"),
    ('note="never ends', "A filter must close every quote; '\"never ends' stays open"),
    ("=3", "A filter must name what is to be compared; got '=3'"),
    ("x" * 2001, "A filter must be a text of at most 2000 characters; got 2,001"),
    ("a " * 51, "A filter must have at most 50 conditions; got 51"),
    (7, "A filter must be a text of at most 2000 characters; got 7"),
])  # fmt: skip
def test_a_mistake_is_one_sentence_with_the_nearest_word(text, message):
    """Whoever mistypes would not know what to type instead."""
    with pytest.raises(InvalidInputError, match=message):
        parse_filter(text)


# --- what is found ----------------------------------------------------------------------------------------------------

TEXTS = ("", "red", "Red cotton", "dark red", "reddish", "featured", "GRÜN", "grün & gold", "100 %", "a_b", "c\\d",
         "'; DROP TABLE", "🌿 leaf", "\0 nul", "שלום", "<b>red</b>", "half \ud800")  # fmt: skip
STATES = schema.STATES
MEASURED = ("swatch_id", "lightness", "lightness_sigma", "chroma", "hue_angle", "coverage", "side", "flags",
            "reference")  # fmt: skip


def made_pile():
    """Pieces of which every text, state and size comes up; nothing random."""
    texts, count = itertools.cycle(TEXTS), 48
    rows = pd.DataFrame({
        "swatch_id": [f"board-{n:02d}" for n in range(count)],
        "lightness": [math.nan if n % 11 == 10 else n * 100 / count for n in range(count)],
        "lightness_sigma": 1.0,
        "chroma": [n * 1.7 % 60 for n in range(count)],
        "hue_angle": [n * 37.0 % 360 for n in range(count)],
        "coverage": [n % 10 / 10 for n in range(count)],
        "side": [math.nan if n % 7 == 6 else (25.4, 50.8, 76.2)[n % 3] for n in range(count)],
        "flags": [("", "glare", "glare; uneven")[n % 3] for n in range(count)],
        "reference": [("card", "chart")[n % 2] for n in range(count)],
    })
    own = [{"ground": next(texts), "paints": next(texts), "plate": TEXTS[n % 5], "place": TEXTS[n % 9],
            "note": TEXTS[n * 5 % len(TEXTS)], "tags": {TEXTS[1 + n % 5], TEXTS[8 + n % 3]} if n % 4 else set(),
            "state": STATES[n % 4], "project": "Evening wall" if n % 4 in (1, 2) else "",
            "surface": schema.SURFACES[n % 3], "by": ("", "ann", "Bo B.")[n % 3]} for n in range(count)]  # fmt: skip
    return [{**row, **more} for row, more in zip(rows.to_dict("records"), own, strict=True)]


def filled(pile):
    """A catalogue that holds the made pile."""
    for row in made_pile():
        table = pd.DataFrame([{name: row[name] for name in MEASURED}])
        told = {name: row[name] for name in ("ground", "paints", "plate", "place")}
        pile.add(table, surface=row["surface"], measured_by=row["by"], **told)
        name = row["swatch_id"]
        pile.note(name, row["note"])
        if row["tags"]:
            pile.tag(name, row["tags"])
        {"at hand": lambda _: None, "set aside": lambda n: pile.set_aside(n, "Evening wall"),
         "used": lambda n: pile.use(n, "Evening wall"), "lost": pile.lose}[row["state"]](name)  # fmt: skip
    return pile


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def pile(request, tmp_path_factory):
    if request.param == "sqlite":
        place = str(tmp_path_factory.mktemp("filters") / "pile.sqlite")
    else:
        place = f"{request.getfixturevalue('server')}&schema=filters"
    with open_catalogue(place, who="me") as opened:
        yield filled(opened)


def holds_words(value, words):
    """Whether words stand in a text as whole words, in small or capital letters: said again, plainly."""
    value, words = value.casefold().strip(), words.casefold()
    if not words:
        return not value
    return any(
        value[at : at + len(words)] == words
        and (at == 0 or not (value[at - 1].isalnum() or value[at - 1] == "_"))
        and (at + len(words) == len(value) or not (value[at + len(words)].isalnum() or value[at + len(words)] == "_"))
        for at in range(len(value))
    )


def group_of(lightness):
    return "" if math.isnan(lightness) else "dark" if lightness <= 40 else "medium" if lightness <= 70 else "light"


ANYWHERE = ("swatch_id", "note", "ground", "paints", "plate", "place", "project")
WORDS = tuple(text.strip("\0 ") for text in TEXTS)
CASES = st.one_of(
    st.tuples(st.sampled_from(["ground", "paints", "plate", "place"]), st.sampled_from(WORDS)).map(
        lambda c: (f'{c[0]}="{c[1]}"', lambda row: holds_words(row[c[0]], c[1]))
    ),
    st.sampled_from(WORDS).map(
        lambda word: (f'tag="{word}"', lambda row: any(holds_words(tag, word) for tag in row["tags"] or [""]))
    ),
    st.sampled_from(["red", "gr", "_", "%", "\\", "DROP", "🌿", "שלום", "<b>", "board-1", "Evening"]).map(
        lambda word: (f'"{word}"', lambda row: any(
            word.casefold() in text.casefold() for text in [*(row[name] for name in ANYWHERE), *row["tags"]]
        ))
    ),
    st.sampled_from(["dark", "medium", "light"]).map(lambda g: (g, lambda row: group_of(row["lightness"]) == g)),
    st.sampled_from(STATES).map(lambda state: (f'state="{state}"', lambda row: row["state"] == state)),
    st.sampled_from(schema.SURFACES).map(lambda s: (f"surface={s}", lambda row: row["surface"] == s)),
    st.sampled_from(["card", "chart", "none"]).map(lambda r: (f"reference={r}", lambda row: row["reference"] == r)),
    st.sampled_from(["ann", "bo b.", ""]).map(lambda who: (f'by="{who}"', lambda row: holds_words(row["by"], who))),
    st.sampled_from(["glare", "uneven", ""]).map(lambda f: (f'flag="{f}"', lambda row: holds_words(row["flags"], f))),
    st.sampled_from([25.4, 50.8, 76.2]).map(
        lambda mm: (f"side>={mm / 25.4:g}in", lambda row: row["side"] >= mm)  # nan is never more
    ),
    st.just(("side=unknown", lambda row: math.isnan(row["side"]))),
    st.tuples(st.integers(0, 100), st.integers(0, 100)).map(sorted).map(
        lambda ends: (f"lightness={ends[0]}..{ends[1]}", lambda row: ends[0] <= row["lightness"] <= ends[1])
    ),
    st.tuples(st.integers(0, 359), st.integers(0, 359)).map(
        lambda ends: (f"hue={ends[0]}..{ends[1]}", lambda row: ends[0] <= row["hue_angle"] <= ends[1]
                      if ends[0] <= ends[1] else row["hue_angle"] >= ends[0] or row["hue_angle"] <= ends[1])
    ),
    st.integers(0, 60).map(lambda c: (f"chroma>{c}", lambda row: row["chroma"] > c)),
    st.just(("coverage<50%", lambda row: row["coverage"] < 0.5)),
    st.just(("project=evening", lambda row: bool(row["project"]))),
    st.just(('project=""', lambda row: not row["project"])),
    st.sampled_from(["board-1*", "BOARD-07", "*3", "board-__", "*"]).map(
        lambda name: (f"name={name}", lambda row: re.fullmatch(
            re.escape(name).replace(r"\*", ".*"), row["swatch_id"], re.IGNORECASE) is not None)
    ),
)  # fmt: skip


@st.composite
def asked(draw):
    """A filter of up to four conditions, some of them negated or joined by `or`, and what it means in Python."""
    clauses = draw(st.lists(st.lists(st.tuples(CASES, st.booleans()), min_size=1, max_size=2), max_size=3))
    text = " ".join(" or ".join(("-" if no else "") + case[0] for case, no in clause) for clause in clauses)
    return text, lambda row: all(any(bool(case[1](row)) != no for case, no in clause) for clause in clauses)


@given(asked())
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_filter_finds_what_it_says(pile, case):
    """A piece would be missing from the list, or a used one be on it; or the two databases would disagree."""
    text, means = case
    expected = sorted(row["swatch_id"] for row in made_pile() if means(row))
    assert sorted(pile.names(text)) == expected, text
    assert pile.page(text, limit=1000).total == len(expected)


@given(CASES)
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_condition_and_its_contrary_make_the_whole_pile(pile, case):
    """A piece of which something is not known would be on neither list."""
    text, _ = case
    with_it, without = pile.names(text), pile.names(f"not {text}")
    assert sorted([*with_it, *without]) == sorted(pile.names())


def test_capital_letters_beyond_a_to_z_make_no_difference(pile):
    """`grün` would not find GRÜN."""
    assert pile.names("grün") == pile.names("GRÜN") != []
    assert pile.names("ground=grün") == pile.names("ground=GRÜN") != []


@pytest.mark.parametrize("text", [
    "red", "GRÜN", "not grün", '"100 %"', '"\\"', "🌿", "evening", "shiny or gr", "ground=red", "ground!=red",
    "tag=red", 'tag=""', "ground=*", 'ground=*,""', "by=ann",
])  # fmt: skip
def test_a_column_of_many_values_is_asked_as_one_of_few(pile, text, monkeypatch):
    """The thousandth place would change what a search finds."""
    found = pile.names(text)
    assert found
    monkeypatch.setattr(finding, "_FEW", 2)
    assert pile.names(text) == found


def test_a_page_is_part_of_the_list_and_knows_how_long_it_is(pile):
    """A list would end early, or show a piece twice."""
    whole = pile.names("not used", sort="-side")
    pages = [pile.page("not used", sort="-side", offset=at, limit=10) for at in range(0, len(whole) + 10, 10)]
    assert {page.total for page in pages} == {len(whole)}
    assert [name for page in pages for name in page.table["swatch_id"]] == whole
    assert list(pages[0].table.columns[:2]) == ["swatch_id", "lightness"]


@pytest.mark.parametrize("sort", finding.SORTS)
def test_what_is_not_known_comes_last_on_both_databases(pile, sort):
    """Pieces without lightness would fill the first page."""
    table = pile.table(sort=sort)
    column = {"hue": "hue_angle", "value": "munsell_value", "sigma": "lightness_sigma", "name": "swatch_id"}
    values = table[column.get(sort, sort)]
    known = values[values.notna()] if values.dtype == float else values
    assert values.iloc[: len(known)].equals(known)
    assert known.tolist() == sorted(known.tolist())


def test_an_unknown_order_is_refused_with_the_nearest(pile):
    """A typed order would be passed over in silence."""
    with pytest.raises(InvalidInputError, match="A list cannot be sorted by 'lightnes'; the nearest is 'lightness'"):
        pile.page(sort="lightnes")
    with pytest.raises(InvalidInputError, match="A page must begin at 0 or later and hold a piece; got -1 and 5"):
        pile.page(offset=-1, limit=5)


def test_groups_have_the_edges_of_the_project():
    """A piece on an edge would be in two groups, or in none."""
    breaks = Breaks((30, 60), ("low", "middle", "high"))
    wanted = parse_filter("middle", groups=breaks.names)
    sql = str(finding.condition(None, wanted, breaks).compile(compile_kwargs={"literal_binds": True}))
    assert "> 30" in sql and "<= 60" in sql


def test_a_search_that_finds_nothing_says_why(pile):
    """A slip in a value would look like an empty drawer."""
    assert pile.hints("ground=rde") == ["No piece has ground 'rde'; the nearest is 'red'."]
    assert pile.hints("meduim") == ["'meduim' was looked for as text; the nearest word with a meaning is 'medium'."]
    assert pile.hints("ground=red medium") == []


def test_hundreds_of_fitting_values_are_one_condition(pile):
    """A word that hundreds of notes hold would break the limit of values in a statement."""
    names = [f"board-{n:02d}" for n in range(48)] + [f"none {n}" for n in range(1000)]
    with pile.store.reading() as connection:
        wanted = finding.among(connection, schema.swatches.c.name, names)
        query = schema.swatches.select().where(wanted)
        assert len(connection.execute(query).all()) == 48
