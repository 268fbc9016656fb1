"""Addresses of this part."""

from django.urls import path

from layflat.web.inspection import views

app_name = "inspection"
urlpatterns = [
    path("jobs/<str:number>/flags/<str:sha256>/", views.picture, name="picture"),
]
