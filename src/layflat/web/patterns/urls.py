"""Addresses of kept patterns."""

from django.urls import path

from layflat.web.patterns import views

app_name = "patterns"
urlpatterns = [
    path("<int:pk>/patterns/", views.of_body, name="of-body"),
    path("patterns/<int:pk>/", views.pattern, name="pattern"),
    path("patterns/<int:pk>/retire/", views.retire, name="retire"),
    path("patterns/revisions/<int:pk>/picture.svg", views.picture, name="picture"),
]
