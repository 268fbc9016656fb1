"""Addresses of this part."""

from django.urls import URLPattern

app_name = "fit"
urlpatterns: list[URLPattern] = []
