"""This part as Django knows it."""

from importlib import import_module

from django.apps import AppConfig


class NotingConfig(AppConfig):
    """Fit notes and what comes of them."""

    name = "layflat.web.noting"
    label = "noting"

    def ready(self) -> None:
        """Enter the acts."""
        import_module("layflat.web.noting.acts")
