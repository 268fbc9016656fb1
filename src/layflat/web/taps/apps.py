"""This part as Django knows it."""

from django.apps import AppConfig


class TapsConfig(AppConfig):
    """Taps in the bay: each is done once, in order, also when the network was gone."""

    name = "layflat.web.taps"
    label = "taps"
