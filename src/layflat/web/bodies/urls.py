"""Addresses of the library of bodies."""

from django.urls import path

from layflat.web.bodies import views

app_name = "bodies"
urlpatterns = [path("", views.library, name="library")]
