"""Django's entry to this part."""

from django.apps import AppConfig


class PatternsConfig(AppConfig):
    """The patterns that are kept for bodies."""

    name = "layflat.web.patterns"
    label = "patterns"
