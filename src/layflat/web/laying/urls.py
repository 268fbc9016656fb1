"""Addresses of this part."""

from django.urls import path

from layflat.web.laying import views

app_name = "laying"
urlpatterns = [
    path("mixes/", views.mixes, name="mixes"),
    path("jobs/<str:number>/laying/<str:sha256>/", views.picture, name="picture"),
]
