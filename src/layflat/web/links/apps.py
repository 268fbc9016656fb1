"""This part as Django knows it."""

from django.apps import AppConfig


class LinksConfig(AppConfig):
    """Private links: how a customer opens what is theirs without an account."""

    name = "layflat.web.links"
    label = "links"
