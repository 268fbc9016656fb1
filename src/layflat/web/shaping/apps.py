"""Django's entry to this part."""

from django.apps import AppConfig


class ShapingConfig(AppConfig):
    """Drawings in and out, edges and places of kept patterns, and starts from other cars."""

    name = "layflat.web.shaping"
    label = "shaping"
