"""Addresses of this part."""

from django.urls import URLPattern

app_name = "offer"
urlpatterns: list[URLPattern] = []
