"""What is typed about a photographed template."""

import re
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError

_RULES: Final = re.compile(r"(\d{1,2})\s*[=:]\s*(\d{2,3}(?:[.,]\d{1,3})?)\s*(short)?")
_TAPES: Final = re.compile(
    r"(\d{1,2})\s*(?:-|–|to|,)\s*(\d{1,2})\s*[=:]\s*(\d{2,5}(?:[.,]\d{1,3})?)"
)
_FOLLOW: Final = (
    ("auto", "whichever is found"),
    ("line", "the pen's line"),
    ("edge", "the sheet's own edge"),
)
_MOST_LINES: Final = 24


class ReadingForm(forms.Form):
    """How a template is to be read."""

    rules = forms.CharField(
        required=False,
        max_length=800,
        label="What a steel rule says of the printed rules",
        widget=forms.Textarea(attrs={"rows": 3, "placeholder": "1 = 200.2\n4 = 200.1"}),
        help_text="A line for each: the sheet's number, =, millimetres from the first line to the "
        "last; the word “short” behind it for the short rule. Two sheets are best. Without any, "
        "lengths may be off by 0.6 %.",
    )
    tapes = forms.CharField(
        required=False,
        max_length=800,
        label="A tape from sheet to sheet",
        widget=forms.Textarea(attrs={"rows": 2, "placeholder": "1 - 5 = 1382"}),
        help_text="Between the small crosses of two sheets, in millimetres.",
    )
    follow = forms.ChoiceField(choices=_FOLLOW, label="The outline is", initial="auto")
    light_ink = forms.BooleanField(
        required=False, label="The pen is lighter than the sheet, as on dark film"
    )

    def clean_rules(self) -> list[dict[str, Any]]:
        """Readings of printed rules, in millimetres."""
        found = []
        for match in _lines(self.cleaned_data["rules"], _RULES, "1 = 200.2"):
            sheet, mm, short = match.groups()
            found.append(
                {"sheet": int(sheet), "mm": float(mm.replace(",", ".")), "across": bool(short)}
            )
        return found

    def clean_tapes(self) -> list[dict[str, Any]]:
        """Lengths from sheet to sheet, in millimetres."""
        found = []
        for match in _lines(self.cleaned_data["tapes"], _TAPES, "1 - 5 = 1382"):
            first, second, mm = match.groups()
            found.append(
                {"first": int(first), "second": int(second), "mm": float(mm.replace(",", "."))}
            )
        return found


def _lines(text: str, form: re.Pattern[str], example: str) -> list[re.Match[str]]:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if len(lines) > _MOST_LINES:
        raise ValidationError(f"{_MOST_LINES} lines are the most.")
    found = []
    for line in lines:
        match = form.fullmatch(line)
        if match is None:
            raise ValidationError(f"“{line[:40]}” cannot be read; write as {example}.")
        found.append(match)
    return found


def as_text(readings: list[dict[str, Any]], spans: list[dict[str, Any]]) -> dict[str, str]:
    """Readings and spans as they are typed."""
    return {
        "rules": "\n".join(
            f"{one['sheet']} = {one['mm']:g}{' short' if one['across'] else ''}" for one in readings
        ),
        "tapes": "\n".join(f"{one['first']} - {one['second']} = {one['mm']:g}" for one in spans),
    }
