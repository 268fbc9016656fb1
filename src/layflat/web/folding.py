"""Text folded for searching: as people type it, whatever the database makes of small letters.

SQLite compares only the 26 letters of ASCII without regard to case. So the app itself keeps a
folded copy beside what is searched and folds what is searched for in the same way.
"""

import unicodedata
from typing import TYPE_CHECKING, Any, Final

from django.db import models

if TYPE_CHECKING:
    _TextField = models.TextField[str, str]
else:
    # Generic for the type checker only.
    _TextField = models.TextField

_IN_PLATES: Final = str.maketrans("", "", " -.")


def folded(text: str) -> str:
    """Small letters without accents, single spaces: “Zoë  MÜSSIG” becomes "zoe mussig".

    Compatibility caseless matching of the Unicode Standard (3.13, D146), without what combines.
    """
    apart = unicodedata.normalize("NFD", text)
    for _ in range(2):
        apart = unicodedata.normalize("NFKD", apart.casefold())
    return " ".join("".join(c for c in apart if not unicodedata.combining(c)).split())


def bare(text: str) -> str:
    """Folded, and without the spaces, hyphens and dots that plates are written with or without."""
    return folded(text).translate(_IN_PLATES)


def typed(text: str, *, longest: int = 200) -> str:
    """What somebody typed into a search: single spaces, no control characters, not endless."""
    return " ".join("".join(c if c.isprintable() else " " for c in text[:longest]).split())


class FoldedField(_TextField):
    """A column that keeps other fields folded; written by every save and `bulk_create`.

    `save(update_fields=…)` that names a source must name this field, too, and `update()` must
    set it: both bypass what computes it.

    Args:
        *sources: the fields, in their order.
        is_bare: fold them as `bare` does.
    """

    def __init__(self, *sources: str, is_bare: bool = False, **options: Any) -> None:
        self.sources, self.is_bare = sources, is_bare
        super().__init__(**{"default": "", "editable": False, **options})

    def deconstruct(self) -> tuple[str, str, list[Any], dict[str, Any]]:
        """What a migration needs to make it anew."""
        name, path, _, options = super().deconstruct()
        if self.is_bare:
            options["is_bare"] = True
        return name, path, list(self.sources), options

    def pre_save(self, model_instance: models.Model, add: bool) -> str:  # noqa: ARG002
        """Fold what the sources say now."""
        fold = bare if self.is_bare else folded
        value = " ".join(fold(getattr(model_instance, source)) for source in self.sources)
        setattr(model_instance, self.attname, value)
        return value
