"""As what a pattern is kept: a name of its own, or the next revision of one that is there."""

from dataclasses import dataclass, replace
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.text import slugify

from layflat.pattern import Pattern, pattern_json
from layflat.web.bodies.models import Body
from layflat.web.patterns.keeping import pattern_of
from layflat.web.patterns.models import KeptPattern

_LONGEST_NAME = 80
_LONGEST_TITLE = 120


@dataclass(frozen=True)
class Wanted:
    """As what a pattern is kept.

    Attributes:
        name: of its panel.
        title: as people write it.
    """

    name: str
    title: str


class NameForm(forms.Form):
    """What a piece is called, or whose next revision it is."""

    instead = forms.ChoiceField(
        required=False,
        label="Keep it as",
        help_text="A new revision takes the place of the earlier one for new covers; both stay.",
    )
    title = forms.CharField(
        required=False,
        max_length=_LONGEST_TITLE,
        label="What the piece is called",
        help_text="Free for a new revision.",
    )

    def __init__(
        self, *args: Any, body: Body, pattern: Pattern | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._pattern = pattern
        self._kept = {str(item.pk): item for item in KeptPattern.objects.filter(body=body)}
        field = self.fields["instead"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [
            ("", "a new piece of this vehicle"),
            *((key, f"the next revision of “{item.title}”") for key, item in self._kept.items()),
        ]

    def clean(self) -> dict[str, Any]:
        """A name that nothing else has."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        if self.errors:
            return data
        before = self._kept.get(data["instead"])
        title = data["title"].strip() or (before.title if before else "")
        if not title:
            raise ValidationError("Write what the piece is called.")
        name = before.name if before else slugify(title, allow_unicode=True)[:_LONGEST_NAME]
        if not name:
            raise ValidationError("Write at least one letter or digit as what the piece is called.")
        twin = next((item for item in self._kept.values() if item.name == name), None)
        # A form that comes twice finds its own piece there.
        if before is None and twin is not None and not self._is_kept(twin):
            raise ValidationError(
                f"This vehicle has “{twin.title}” already; choose its next revision above, or "
                "write another name."
            )
        data["wanted"] = Wanted(name, title)
        return data

    def _is_kept(self, twin: KeptPattern) -> bool:
        newest = twin.revisions.select_related("pattern").first()
        if newest is None or self._pattern is None:
            return False
        wanted = pattern_json(replace(self._pattern, name=twin.name))
        return pattern_json(pattern_of(newest)) == wanted
