"""Django's entry to this part."""

from django.apps import AppConfig


class ExchangingConfig(AppConfig):
    """Archives that shops give each other."""

    name = "layflat.web.exchanging"
    label = "exchanging"
