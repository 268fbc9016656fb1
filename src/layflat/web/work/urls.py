"""Addresses of this part."""

from django.urls import URLPattern

app_name = "work"
urlpatterns: list[URLPattern] = []
