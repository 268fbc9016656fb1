"""This part as Django knows it."""

from django.apps import AppConfig


class BayConfig(AppConfig):
    """The page of a job in the bay, for wet gloves and a bad network."""

    name = "layflat.web.bay"
    label = "bay"
