"""The check digit of vehicle identification numbers against published worked examples.

Sources, each beside its check: 49 CFR 565 (United States Code of Federal Regulations), sample
check digit calculation, Table V; National Highway Traffic Safety Administration, Outline for New
Manufacturer Information (its worked example under 49 CFR 565.15(c)); the two numbers that
encyclopaedias and textbooks work through. ISO 3779 for the alphabet.
"""

import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.web.jobs.vin import CHECK_PLACE, VALUES, WEIGHTS, check_digit, tidied, vin_warning

ALPHABET = "".join(sorted(set(string.digits + string.ascii_uppercase) - set("IOQ")))
vins = st.text(ALPHABET, min_size=17, max_size=17)


def checked(vin: str) -> str:
    """The number with its right digit."""
    return vin[:CHECK_PLACE] + check_digit(vin) + vin[CHECK_PLACE + 1 :]


@pytest.mark.parametrize(
    ("vin", "digit"),
    [
        # 49 CFR 565, sample calculation, Table V: the products add up to 411, 411 mod 11 = 4.
        ("1G4AH59H_5G118341", "4"),
        # NHTSA's outline for new manufacturers: 314, 314 mod 11 = 6.
        ("1J9RP1A3_A1644345", "6"),
        # The worked example of encyclopaedias and textbooks: 351, 351 mod 11 = 10, written X.
        ("1M8GDM9A_KP042788", "X"),
        # The well-known all-ones number: every product is its weight; 89 mod 11 = 1.
        ("1" * 8 + "_" + "1" * 8, "1"),
    ],
)
def test_published_worked_examples(vin: str, digit: str) -> None:
    assert check_digit(vin.replace("_", "0")) == digit
    assert vin_warning(vin.replace("_", digit)) == ""
    wrong = "7" if digit != "7" else "8"
    assert digit in vin_warning(vin.replace("_", wrong))


def test_the_regulations_own_products() -> None:
    """49 CFR 565, sample calculation: assigned values, weights and products as printed."""
    vin = "1G4AH59H05G118341"
    assert [VALUES[character] for character in vin] == [
        *(1, 7, 4, 1, 8, 5, 9, 8, 0, 5, 7, 1, 1, 8, 3, 4, 1)
    ]
    products = [VALUES[c] * w for c, w in zip(vin, WEIGHTS, strict=True)]
    assert products == [8, 49, 24, 5, 32, 15, 18, 80, 0, 45, 56, 7, 6, 40, 12, 12, 2]
    assert sum(products) == 411


def test_the_transliteration_table() -> None:
    """49 CFR 565.15(c), Table III, as printed."""
    printed = (
        "A = 1 B = 2 C = 3 D = 4 E = 5 F = 6 G = 7 H = 8 J = 1 K = 2 L = 3 M = 4 N = 5 P = 7 R = 9 "
        "S = 2 T = 3 U = 4 V = 5 W = 6 X = 7 Y = 8 Z = 9"
    )
    words = printed.replace("=", "").split()
    table = dict(zip(words[::2], map(int, words[1::2]), strict=True))
    assert {letter: VALUES[letter] for letter in VALUES if letter.isalpha()} == table
    assert set(VALUES) == set(ALPHABET)


@settings(derandomize=True, max_examples=150)
@given(vins, st.integers(0, 16), st.sampled_from(ALPHABET))
def test_one_changed_character_is_found_unless_its_value_is_the_same(
    vin: str, place: int, other: str
) -> None:
    """Every weight but the ninth is prime to 11, so only a letter of equal value slips through."""
    right = checked(vin)
    changed = right[:place] + other + right[place + 1 :]
    same = other == right[place]
    if place != CHECK_PLACE:
        same = VALUES[other] == VALUES[right[place]]
    assert (vin_warning(changed) == "") == same


@settings(derandomize=True, max_examples=150)
@given(vins, st.integers(0, 15))
def test_swapped_neighbours_are_found_as_the_weights_predict(vin: str, place: int) -> None:
    right = checked(vin)
    a, b = right[place], right[place + 1]
    swapped = right[:place] + b + a + right[place + 2 :]
    if CHECK_PLACE in (place, place + 1):
        assert (vin_warning(swapped) == "") == (check_digit(swapped) == swapped[CHECK_PLACE])
        return
    shift = (WEIGHTS[place] - WEIGHTS[place + 1]) * (VALUES[b] - VALUES[a])
    assert (vin_warning(swapped) == "") == (shift % 11 == 0)


@settings(derandomize=True, max_examples=100)
@given(vins, st.integers(0, 16), st.characters(codec="utf-8").filter(lambda c: c not in ALPHABET))
def test_characters_that_never_stand_in_one_are_named_with_their_place(
    vin: str, place: int, other: str
) -> None:
    with pytest.raises(InputError, match=f"at place {place + 1} cannot stand"):
        vin_warning(vin[:place] + other + vin[place + 1 :])


@pytest.mark.parametrize("count", [0, 16, 18])
def test_other_lengths_are_counted(count: int) -> None:
    with pytest.raises(InputError, match=f"17 characters; this one has {count}"):
        check_digit("1" * count)


@pytest.mark.parametrize(("letter", "digit"), [("I", "1"), ("O", "0"), ("Q", "0")])
def test_lookalikes_are_explained(letter: str, digit: str) -> None:
    with pytest.raises(InputError, match=f"whether it is {digit}"):
        vin_warning(letter + "1" * 16)


def test_people_write_spaces_and_small_letters() -> None:
    assert tidied(" 1m8gdm9a-xkp 042788 ") == "1M8GDM9AXKP042788"
