"""Whether a week can be planned at all, before anything is searched."""

from collections.abc import Sequence

from layflat.base import InputError, SettingError
from layflat.plan.week_records import Demand, Supply


def require_sound(demands: Sequence[Demand], supplies: Sequence[Supply], seconds: float) -> None:
    """Refuse what cannot be planned.

    Raises:
        InputError: there is nothing to plan, a supply is named twice, or a film is of two kinds.
        SettingError: the time budget is out of range.
    """
    if not demands:
        raise InputError("There are no pieces to plan.")
    if not supplies:
        raise InputError("There is no film: name at least one roll or offcut.")
    if not 0 < seconds <= 86_400:
        raise SettingError(
            f"The time budget is {seconds:g} s; it must be above 0 and at most 86400."
        )
    names = [supply.name for supply in supplies]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f"“{twice[0]}” is named twice; a roll or an offcut can be used only once.")
    kinds: dict[str, Supply] = {}
    for supply in supplies:
        first = kinds.setdefault(supply.film, supply)
        if first.kind is not supply.kind:
            raise InputError(
                f"Film “{supply.film}” is {first.kind.value} on “{first.name}” and "
                f"{supply.kind.value} on “{supply.name}”; it can be only one of them."
            )
