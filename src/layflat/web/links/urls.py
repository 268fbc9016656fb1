"""Addresses of this part."""

from django.urls import URLPattern

app_name = "links"
urlpatterns: list[URLPattern] = []
