"""This part as Django knows it."""

from django.apps import AppConfig


class OfferConfig(AppConfig):
    """Offers: what the customer is asked to accept, and what was accepted."""

    name = "layflat.web.offer"
    label = "offer"
