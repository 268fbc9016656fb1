"""The content: money by hand, hashes against another canonicaliser, words, differences."""

import copy
import json
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.base import CheckError, InputError
from layflat.plan import Minutes, Price, Rates, Step, StepMinutes, price
from layflat.web.jobs.models import Job
from layflat.web.offer.canonical import canonical, in_short, sha256_of
from layflat.web.offer.content import days_of
from layflat.web.offer.difference import difference
from layflat.web.offer.making import Wanted, draft
from layflat.web.offer.money import OwnLine, costs_of, lines_of, sums
from layflat.web.offer.words import panel_words
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_duration
from web.covered import MINUTES, a_cover, an_outcome, details


def the_price(metres: str = "7.35", minutes: dict[str, float] | None = None) -> Price:
    steps = tuple(
        StepMinutes(step=Step(name), minutes=value, source="assumed")
        for name, value in (minutes or MINUTES).items()
    )
    rates = Rates(
        currency="EUR",
        film_per_metre=Decimal("62.00"),
        per_hour=Decimal("78.00"),
        consumables=Decimal("35.00"),
        tax=Decimal("0.2"),
    )
    return price(metres=Decimal(metres), minutes=Minutes(steps), rates=rates)


def test_money_as_it_is_reckoned_by_hand() -> None:
    # 7.35 m at 62.00: 455.70. By whole minutes at 78.00 an hour, 1.30 a minute:
    # 30 + 120 min: 39.00 + 156.00 = 195.00; 22 + 31 min: 28.60 + 40.30 = 68.90;
    # 486 (from 485.5) + 40 min: 631.80 + 52.00 = 683.80; 34 + 30 min: 44.20 + 39.00 = 83.20;
    # solutions and the like 35.00. Together 1521.60. Old film off 120.00, less 50.00: 1591.60.
    # A fifth of that is 318.32; together 1909.92.
    own = [OwnLine("Old film off", Decimal(120)), OwnLine("For the long wait", Decimal(-50))]
    lines = lines_of(the_price(), own)
    assert [(line["amount"], line["quantity"], line["rate"]) for line in lines] == [
        ("455.70", "7.35 m", "62.00 a metre"),
        ("195.00", "2 h 30 min", "78.00 an hour"),
        ("68.90", "53 min", "78.00 an hour"),
        ("683.80", "8 h 46 min", "78.00 an hour"),
        ("83.20", "1 h 4 min", "78.00 an hour"),
        ("35.00", "", ""),
        ("120.00", "", ""),
        ("-50.00", "", ""),
    ]
    found = sums(lines, tax=Decimal("0.2"), decimals=2)
    assert found == {"net": "1591.60", "tax": "318.32", "gross": "1909.92"}


def test_the_margin_as_it_is_reckoned_by_hand() -> None:
    # Film 7.35 m at 31.50: 231.525, half a coin upwards 231.53. 793 minutes at 46.00 an hour:
    # 607.9666…, 607.97. Consumables 21.00. Together 860.50; 1521.60 less that leaves 661.10,
    # which is 43.448 per cent of 1521.60.
    assert costs_of(
        metres=Decimal("7.35"),
        minutes=Decimal(793),
        net=Decimal("1521.60"),
        film=Decimal("31.50"),
        hour=Decimal("46.00"),
        other=Decimal("21.00"),
    ) == {
        "film": "231.53",
        "time": "607.97",
        "consumables": "21.00",
        "total": "860.50",
        "margin": "661.10",
        "per_cent": "43.4",
    }


amounts = st.decimals(min_value=-100, max_value=9000, places=2)


@given(
    metres=st.decimals(min_value=0, max_value=90, places=2),
    minutes=st.dictionaries(st.sampled_from(list(Step)), st.floats(0, 5000), min_size=1),
    own=st.lists(st.builds(OwnLine, st.text(min_size=1, max_size=8), amounts), max_size=6),
    tax=st.decimals(min_value=0, max_value=1, places=4),
)
def test_lines_and_tax_are_the_sum_to_the_cent(
    metres: Decimal, minutes: dict[Step, float], own: list[OwnLine], tax: Decimal
) -> None:
    whole = the_price(str(metres), {step.value: value for step, value in minutes.items()})
    lines = lines_of(whole, own)
    try:
        found = {name: Decimal(text) for name, text in sums(lines, tax=tax, decimals=2).items()}
    except InputError:
        assert sum(Decimal(line["amount"]) for line in lines) < 0
        return
    assert found["net"] == sum(Decimal(line["amount"]) for line in lines)
    assert found["gross"] == found["net"] + found["tax"]
    assert abs(found["tax"] - found["net"] * tax) <= Decimal("0.005")
    assert all(value.as_tuple().exponent == -2 for value in found.values())
    # What the customer reads is to the cent what the cover's own page says.
    assert found["net"] == whole.net + sum(line.amount for line in own)
    for line in lines:
        if line["parts"]:
            assert Decimal(line["amount"]) == sum(Decimal(p["amount"]) for p in line["parts"])


def test_durations_as_people_say_them() -> None:
    assert [shown_duration(minutes) for minutes in (0, 59, 60, 61)] == [
        "0 min",
        "59 min",
        "1 h",
        "1 h 1 min",
    ]


def test_a_vehicle_stays_a_night_at_least() -> None:
    assert days_of({"lay": {"minutes": 100.0}, "edges": {"minutes": 999.0}}) == 2
    assert days_of({"wash": {"minutes": 240.0}, "lay": {"minutes": 241.0}}) == 3


# Canonical JSON.

plain = st.recursive(
    st.text(st.characters(exclude_categories=["Cs"])) | st.integers(-(2**53) + 1, 2**53 - 1),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(max_codepoint=127), max_size=5), inner, max_size=4)
    ),
    max_leaves=12,
)


def written_apart(value: Any) -> str:
    """Canonical JSON by another way, after RFC 8785, 3.2.2 and 3.2.3: keys by UTF-16 code units."""
    if isinstance(value, dict):
        ordered = sorted(value, key=lambda key: key.encode("utf-16-be"))
        return "{" + ",".join(f"{_text(key)}:{written_apart(value[key])}" for key in ordered) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(written_apart, value)) + "]"
    return _text(value) if isinstance(value, str) else f"{value:d}"


def _text(text: str) -> str:
    short = {8: "\\b", 9: "\\t", 10: "\\n", 12: "\\f", 13: "\\r", 34: '\\"', 92: "\\\\"}
    signs = (
        short.get(ord(sign)) or (f"\\u{ord(sign):04x}" if ord(sign) < 32 else sign) for sign in text
    )
    return '"' + "".join(signs) + '"'


@given(value=plain)
def test_canonical_json_is_what_another_writer_makes(value: Any) -> None:
    assert canonical(value).decode() == written_apart(value)
    assert json.loads(canonical(value)) == value


def test_canonical_json_of_the_standard_s_own_example() -> None:
    # RFC 8785, 3.2.2 and 3.2.3, without the numbers that are no whole ones and the literals.
    value = {"string": '€$\u000f\nA\'B"\\\\"/', "numbers": [333333333, 4]}
    assert canonical(value) == (
        '{"numbers":[333333333,4],"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'.encode()
    )


@pytest.mark.parametrize("value", [1.5, True, None, {"a": [0.1]}, 2**53, {"ä": "x"}, "\ud800"])
def test_what_has_no_one_form_is_refused(value: Any) -> None:
    with pytest.raises(CheckError):
        canonical(value)


@given(one=plain, other=plain)
def test_hashes_tell_values_apart(one: Any, other: Any) -> None:
    assert (sha256_of(one) == sha256_of(other)) == (one == other)


def test_a_hash_in_short() -> None:
    assert in_short("0123456789abcdef" * 4) == "0123 4567 89ab"


# Words.


@pytest.fixture
def content(job: Job, shop: Shop) -> dict[str, Any]:
    keys = tuple(cover.pk for cover in job.covers.all())
    return draft(job, Wanted(covers=keys), shop=shop, version=1).content


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The paths of all texts and numbers in a content."""
    if isinstance(value, dict):
        return [p for key in value for p in places(value[key], (*path, key))]
    if isinstance(value, list):
        return [p for key, item in enumerate(value) for p in places(item, (*path, key))]
    return [path]


def test_any_change_of_a_content_changes_its_hash(content: dict[str, Any]) -> None:
    before = sha256_of(content)
    paths = places(content)
    assert len(paths) > 100
    for path in paths:
        changed = copy.deepcopy(content)
        at: Any = changed
        for key in path[:-1]:
            at = at[key]
        at[path[-1]] = at[path[-1]] + (" " if isinstance(at[path[-1]], str) else 1)
        assert sha256_of(changed) != before, path


def test_a_content_holds_what_the_customer_must_read(content: dict[str, Any]) -> None:
    first, second = content["alternatives"]
    assert (first["title"], first["net"], first["gross"]) == ("Nose only", "1521.60", "1825.92")
    (hood,) = first["panels"]
    assert hood["title"] == "Hood"
    assert hood["extent"] == "The whole panel."
    assert hood["edges"] == [
        "Wrapped round the edge by 8 mm: front.",
        "Ends 1.5 mm before every other edge.",
    ]
    assert hood["free"] == ["Emblem: emblem, may stand over radar."]
    assert [panel["title"] for panel in second["panels"]] == ["Door, left", "Door, right", "Hood"]
    assert content["vehicle"] == "Tarnholm Siskwing, LW 204 K"
    assert content["tax_per_cent"] == "20"
    assert any("no washing for a week" in said for said in content["cautions"])


def test_hard_places_are_told_only_where_they_matter(job: Job, shop: Shop) -> None:
    cover = a_cover(job, "Mirrors", panels=("mirror-left",))
    over = [{"name": "emblem", "reason": "no radar behind it"}]
    found = an_outcome(
        cover,
        is_part=True,
        over_stretch=0.02,
        over_finger=0.005,
        details=details(free=[], film_over=over),
    )
    said = panel_words(list(found.pieces.all()), shop)
    assert said["extent"] == "Up to the line that was agreed on the vehicle."
    assert said["film_over"] == ["Emblem: no radar behind it."]
    assert said["expect"] == [
        "The shape asks much of the film here: seen from the side, a slight haze may show."
    ]
    shop.inches = True
    assert panel_words(list(found.pieces.all()), shop)["edges"][0] == (
        "Wrapped round the edge by 0.31 in: front."
    )


def test_cuts_that_are_seen_are_agreed_and_hidden_ones_are_not_mentioned(
    job: Job, shop: Shop
) -> None:
    def expected(*visible_mm: float) -> list[str]:
        cover = a_cover(job, f"Mirrors {visible_mm}", panels=("mirror-left",))
        cuts = {"taken": [{"visible_mm": mm} for mm in visible_mm]}
        found = an_outcome(cover, over_finger=0.2, details=details(free=[], reliefs=cuts))
        told: list[str] = panel_words(list(found.pieces.all()), shop)["expect"]
        return told

    (one,) = expected(39.0)
    assert one.startswith("A short cut in the film at its edge")
    assert one.endswith("It is agreed with this offer and is no fault.")
    assert expected(39.0, 0.0)[0].startswith("2 short cuts in the film")
    # Out of sight under a lip, there is nothing to agree on but what is left of fingers.
    assert all("may be needed" in sentence for sentence in expected(0.4, 0.0))


def test_two_pieces_of_a_panel_are_one_panel_with_a_seam(job: Job, shop: Shop) -> None:
    cover = a_cover(job, "Mirrors", panels=("mirror-left 1", "mirror-left 2"))
    found = an_outcome(cover, details=details(panel="mirror-left"))
    said = panel_words(list(found.pieces.all()), shop)
    assert (said["panel"], said["title"]) == ("mirror-left", "Mirror, left")
    assert "In 2 pieces; the seam between them shows close up." in said["extent"]


def test_edges_and_places_are_named_only_where_they_differ(job: Job, shop: Shop) -> None:
    ends = [("front", "gap", "wrap", 8.0), ("rear-low", "gap", "short", 1.0)]
    ends += [(name, "trim", "flush", 0.0) for name in ("left", "right")]
    ends.append(("line", "inner", "flush", 0.0))
    edges = [
        {"name": name, "kind": kind, "finish": finish, "distance_mm": mm, "length_mm": 9.0}
        for name, kind, finish, mm in ends
    ]
    free = [{"name": f"sensor, {side}", "word": "must see"} for side in ("left", "right")]
    cover = a_cover(job, "Bumper", panels=("bumper-front",))
    found = an_outcome(cover, details=details(edges=edges, free=free))
    said = panel_words(list(found.pieces.all()), shop)
    assert said["edges"] == [
        "Wrapped round the edge by 8 mm: front.",
        "Ends 1 mm before the edge: rear low.",
        "Ends at every other edge.",
    ]
    assert said["free"] == ["Sensor, left · Sensor, right: must see."]
    bare = an_outcome(cover, details=details(edges=edges[-1:]))
    assert panel_words(list(bare.pieces.all()), shop)["edges"] == []


def test_a_shop_with_inches_reads_feet_beside_the_metres_it_charges() -> None:
    # A foot is 0.3048 m (the yard and pound agreement of 1959).
    film, *rest = lines_of(the_price(), [], in_feet=True)
    plain, *others = lines_of(the_price(), [])
    metres = float(plain["quantity"].removesuffix(" m"))
    assert film == {**plain, "quantity": f"{metres / 0.3048:.1f} ft, {plain['quantity']}"}
    assert rest == others


# Differences.


def test_nothing_else_is_said_of_the_same_content(content: dict[str, Any]) -> None:
    assert difference(content, content) == ["Nothing but the number and the day."]


def test_sums_in_two_currencies_keep_their_own(content: dict[str, Any]) -> None:
    said = difference(content, {**content, "currency": "USD"})
    sums = "to pay USD 1\u00a0825.92 instead of EUR 1\u00a0825.92."
    assert f"“Nose only”: {sums}" in said
    assert "The currency: “USD” instead of “EUR”." in said


def test_every_kind_of_change_is_said(content: dict[str, Any]) -> None:
    new = copy.deepcopy(content)
    first, second = new["alternatives"]
    first["panels"][0]["edges"] = ["Ends 1.5 mm before every edge."]
    first["panels"][0]["free"] = []
    first["panels"] += second["panels"][:2]
    first["lines"][0] = {**first["lines"][0], "quantity": "8.10 m", "amount": "502.20"}
    first["lines"].append({**first["lines"][-1], "kind": "own", "text": "Old film off"})
    first["gross"] = "1923.72"
    first["days"] = 4
    new["alternatives"][1] = {**second, "cover": 999, "title": "Whole vehicle", "gross": "2099.00"}
    new["message"] = "As discussed."
    said = difference(content, new)
    was = "Wrapped round the edge by 8 mm: front"
    assert said == [
        "“Nose only”: to pay EUR 1\u00a0923.72 instead of EUR 1\u00a0825.92.",
        "“Nose only”, Hood: now “Ends 1.5 mm before every edge”.",
        f"“Nose only”, Hood: no longer “{was}”.",
        "“Nose only”, Hood: no longer “Ends 1.5 mm before every other edge”.",
        "“Nose only”, Hood: no longer “Emblem: emblem, may stand over radar”.",
        "“Nose only”, Door, left · Door, right: covered too.",
        "“Nose only”, Film, cut to your vehicle: 8.10 m, 502.20 instead of 7.35 m, 455.70.",
        "“Nose only”, new line: Old film off, 35.00.",
        "“Nose only”: the vehicle stays about 4 working days, not 3.",
        "New: “Whole vehicle”, EUR 2\u00a0099.00.",
        "No longer offered: “Nose and doors”.",
        "The message: “As discussed” instead of nothing.",
    ]
    back = difference(new, content)
    assert "“Nose only”, Door, left · Door, right: no longer covered." in back
    assert "“Nose only”, line left out: Old film off, 35.00." in back
