"""The form for the next version, and for a yes that was heard at the counter."""

import re
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError

from layflat.web.offer.content import MOST_ALTERNATIVES, MOST_OWN
from layflat.web.offer.making import MOST_VALID_DAYS, VALID_DAYS, Ready, Wanted
from layflat.web.offer.money import OwnLine

_EMPTY_ROWS: Final = 2
_MOST_AMOUNT: Final = Decimal("9999999.99")


class Amount(forms.DecimalField):
    """An amount of money; a comma counts as a point."""

    def to_python(self, value: Any) -> Any:
        """The number that was written."""
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


class VersionForm(forms.Form):
    """What goes into the next version."""

    covers = forms.MultipleChoiceField(
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": "Choose what the customer can choose from: one cover or more.",
            "invalid_choice": "A chosen cover cannot go in yet; look at what it waits for.",
        },
    )
    message = forms.CharField(
        required=False,
        max_length=1000,
        label="Message to the customer",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    valid_days = forms.IntegerField(
        min_value=1,
        max_value=MOST_VALID_DAYS,
        initial=VALID_DAYS,
        label="Valid for how many days",
    )
    seen = forms.IntegerField(
        widget=forms.HiddenInput,
        min_value=0,
        error_messages={"invalid": "This page is out of date; open it anew."},
    )

    def __init__(
        self,
        data: Any = None,
        *,
        ready: Sequence[Ready],
        last: int,
        content: dict[str, Any] | None = None,
    ) -> None:
        """The form.

        Args:
            data: what was sent, or None.
            ready: covers with what they wait for; those that wait cannot be chosen.
            last: number of the newest version.
            content: of it, to begin from.
        """
        own = own_lines(content) if content else []
        begun = {item["cover"] for item in content["alternatives"]} if content else set()
        can = [item.cover for item in ready if not item.waits_for]
        chosen = [cover.pk for cover in can if not begun or cover.pk in begun]
        initial = {
            "covers": [str(key) for key in (chosen or [c.pk for c in can])[:MOST_ALTERNATIVES]],
            "message": content["message"] if content else "",
            "seen": last,
        }
        super().__init__(data, initial=initial)
        choices = [(str(cover.pk), cover.title) for cover in can]
        self.fields["covers"].choices = choices  # type: ignore[attr-defined]
        self.rows = min(MOST_OWN, len(own) + _EMPTY_ROWS)
        for row in range(1, MOST_OWN + 1):
            line = own[row - 1] if row <= len(own) else None
            self.fields[f"text-{row}"] = forms.CharField(
                required=False, max_length=120, initial=line.text if line else ""
            )
            self.fields[f"amount-{row}"] = Amount(
                required=False,
                max_digits=9,
                decimal_places=2,
                min_value=-_MOST_AMOUNT,
                max_value=_MOST_AMOUNT,
                initial=line.amount if line else None,
                widget=forms.TextInput(attrs={"inputmode": "decimal"}),
            )
            self.fields[f"cover-{row}"] = forms.ChoiceField(
                required=False,
                choices=[("", "every alternative"), *choices],
                initial=str(line.cover) if line and line.cover else "",
            )

    def clean_covers(self) -> list[str]:
        """Not more than an offer holds."""
        chosen: list[str] = self.cleaned_data["covers"]
        if len(chosen) > MOST_ALTERNATIVES:
            raise ValidationError(f"An offer has at most {MOST_ALTERNATIVES} alternatives.")
        return chosen

    def clean(self) -> dict[str, Any] | None:
        """Each line of one's own has both its text and its amount."""
        data = super().clean()
        for row in range(1, MOST_OWN + 1):
            text, amount = self.cleaned_data.get(f"text-{row}"), self.data.get(f"amount-{row}")
            if text and not amount:
                self.add_error(f"amount-{row}", "Write the amount; a discount with a minus.")
            if amount and not text and f"text-{row}" in self.cleaned_data:
                self.add_error(f"text-{row}", "Write what the amount is for.")
        return data

    def own_rows(self) -> list[tuple[int, Any, Any, Any]]:
        """The rows for lines of one's own: those in use and two more."""
        used = [r for r in range(1, MOST_OWN + 1) if self[f"text-{r}"].value()]
        last = max([self.rows, *((r + 1) for r in used)])
        return [
            (r, self[f"text-{r}"], self[f"amount-{r}"], self[f"cover-{r}"])
            for r in range(1, min(last, MOST_OWN) + 1)
        ]

    def wanted(self) -> Wanted:
        """What was asked for; call it on a valid form."""
        data = self.cleaned_data
        return Wanted(
            covers=tuple(int(key) for key in data["covers"]),
            own=tuple(
                OwnLine(
                    data[f"text-{row}"],
                    data[f"amount-{row}"],
                    int(data[f"cover-{row}"]) if data[f"cover-{row}"] else None,
                )
                for row in range(1, MOST_OWN + 1)
                if data[f"text-{row}"]
            ),
            valid_days=data["valid_days"],
            message=_lines(data["message"]),
        )


def _lines(text: str) -> str:
    """A text with its lines, and no more than one empty line between two of them."""
    lines = "\n".join(" ".join(line.split()) for line in text.splitlines())
    return re.sub(r"\n{3,}", "\n\n", lines).strip()


def own_lines(content: dict[str, Any]) -> list[OwnLine]:
    """The lines that a person had added to a content."""
    by_line: dict[tuple[str, str], list[int]] = {}
    for item in content["alternatives"]:
        for line in item["lines"]:
            if line["kind"] == "own":
                by_line.setdefault((line["text"], line["amount"]), []).append(item["cover"])
    count = len(content["alternatives"])
    return [
        OwnLine(text, Decimal(amount), cover)
        for (text, amount), covers in by_line.items()
        for cover in ([None] if len(covers) == count else covers)
    ]
