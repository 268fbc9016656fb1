"""This part as Django knows it."""

from django.apps import AppConfig


class StockConfig(AppConfig):
    """Rolls and offcuts, and every movement of them."""

    name = "layflat.web.stock"
    label = "stock"
