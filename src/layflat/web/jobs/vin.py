"""Vehicle identification numbers: what may stand in one, and the check digit.

Sources: 49 CFR 565.15(c) (United States) for the transliteration, the weights and the check digit
in the ninth place; ISO 3779 for the 17 characters without I, O and Q. The check digit is required
in North America; elsewhere the ninth place may hold anything, so a wrong digit is a warning only.
"""

from typing import Final

from layflat.base import InputError

LENGTH: Final = 17
CHECK_PLACE: Final = 8
"""Index of the check digit: the ninth character."""

VALUES: Final = {str(digit): digit for digit in range(10)} | dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", [*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)], strict=True)
)
"""Table III: the number that each character stands for."""
WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
"""Table IV: the weight of each place."""
_DIGITS: Final = "0123456789X"
_LOOKALIKES: Final = {"I": "1", "O": "0", "Q": "0"}


def tidied(text: str) -> str:
    """The number in capitals, without the spaces and hyphens that people write into it."""
    return "".join(text.split()).replace("-", "").upper()


def check_digit(vin: str) -> str:
    """The digit that belongs in the ninth place, from "0" to "9" or "X".

    Args:
        vin: tidied; what stands in its ninth place has no weight.

    Raises:
        InputError: it is no VIN; the sentence says which character or how many.
    """
    _refuse_impossible(vin)
    total = sum(VALUES[character] * weight for character, weight in zip(vin, WEIGHTS, strict=True))
    return _DIGITS[total % 11]


def vin_warning(vin: str) -> str:
    """What to look at again, or "" when the check digit is right.

    Raises:
        InputError: it is no VIN; the sentence says which character or how many.
    """
    wanted = check_digit(vin)
    if vin[CHECK_PLACE] == wanted:
        return ""
    return (
        f"The ninth character is {vin[CHECK_PLACE]}; by the North American check digit it would be "
        f"{wanted}. Compare it with the vehicle once more; on a vehicle built for elsewhere it may "
        "stay."
    )


def _refuse_impossible(vin: str) -> None:
    for place, character in enumerate(vin, start=1):
        if character in VALUES:
            continue
        if character in _LOOKALIKES:
            raise InputError(
                f"“{character}” at place {place} cannot stand in a VIN (I, O and Q never do); "
                f"look whether it is {_LOOKALIKES[character]}."
            )
        raise InputError(f"“{character}” at place {place} cannot stand in a VIN.")
    if len(vin) != LENGTH:
        raise InputError(f"A VIN has {LENGTH} characters; this one has {len(vin)}.")
