"""The form for one step of the shop's own order."""

from collections.abc import Iterable
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError

from layflat.web.gates.models import Condition, Kind, StepTemplate, Zone

_MINUTE_S: Final = 60
_MOST_MINUTES: Final = 14 * 24 * 60


def _minutes(label: str, help_text: str) -> forms.FloatField:
    return forms.FloatField(
        label=label,
        help_text=help_text,
        required=False,
        min_value=0.0,
        max_value=float(_MOST_MINUTES),
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
    )


class TemplateForm(forms.Form):
    """A step: what it is, how it is done, what must come before, and its times in minutes."""

    title = forms.CharField(max_length=80, label="Step")
    kind = forms.ChoiceField(
        choices=Kind.choices,
        label="What it does",
        help_text="Between these kinds the trade's own order holds, whatever is chosen below.",
    )
    condition = forms.ChoiceField(choices=Condition.choices, label="Belongs to jobs with")
    zone = forms.ChoiceField(
        choices=Zone.choices, label="Works on", help_text="Tools of another zone are refused."
    )
    words = forms.CharField(
        max_length=400,
        required=False,
        label="How it is done",
        widget=forms.Textarea(attrs={"rows": 5}),
    )
    caution = forms.CharField(
        max_length=400,
        required=False,
        label="What can hurt",
        widget=forms.Textarea(attrs={"rows": 5}),
    )
    needs = forms.MultipleChoiceField(
        required=False, label="Comes after", widget=forms.CheckboxSelectMultiple
    )
    rest = _minutes("Rest before it, minutes", "Counted from the end of what it comes after.")
    dwell_least = _minutes("Works at least, minutes", "Not rinsed before; empty for no such time.")
    dwell_most = _minutes("Dries after, minutes", "Rinsed before; empty where nothing dries.")
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(self, *args: Any, others: Iterable[StepTemplate], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["needs"]
        field.choices = [(other.key, other.title) for other in others]

    def clean(self) -> dict[str, Any]:
        """What dries must not dry before it has worked."""
        data = super().clean() or {}
        least, most = data.get("dwell_least"), data.get("dwell_most")
        if least is not None and most is not None and most <= least:
            raise ValidationError("It would dry before it has worked; make the second time longer.")
        return data

    def values(self) -> dict[str, Any]:
        """What is saved of a template."""
        data = self.cleaned_data
        same = ("title", "words", "caution", "kind", "zone", "condition", "needs")
        return {
            **{name: data[name] for name in same},
            "rest_s": _seconds(data["rest"]) or 0,
            "dwell_least_s": _seconds(data["dwell_least"]),
            "dwell_most_s": _seconds(data["dwell_most"]),
        }


def _seconds(minutes: float | None) -> int | None:
    return None if minutes is None else round(minutes * _MINUTE_S)


def initial_of(row: StepTemplate) -> dict[str, Any]:
    """What stands in the form of a template."""
    return {
        "title": row.title,
        "kind": row.kind,
        "condition": row.condition,
        "zone": row.zone,
        "words": row.words,
        "caution": row.caution,
        "needs": row.needs,
        "rest": _shown(row.rest_s or None),
        "dwell_least": _shown(row.dwell_least_s),
        "dwell_most": _shown(row.dwell_most_s),
        "seen": row.version,
    }


def _shown(seconds: int | None) -> str:
    return "" if seconds is None else f"{seconds / _MINUTE_S:g}"
