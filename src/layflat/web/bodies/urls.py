"""Addresses of the library of bodies."""

from django.urls import path

from layflat.web.bodies import shown_files, views

app_name = "bodies"
urlpatterns = [
    path("", views.library, name="library"),
    path("new/", views.new, name="new"),
    path("<int:pk>/", views.body, name="body"),
    path("<int:pk>/edit/", views.edit, name="edit"),
    path("<int:pk>/retire/", views.retire, name="retire"),
    path("<int:pk>/without-scan/", views.without_scan, name="without-scan"),
    path("<int:pk>/scan/", views.scan, name="scan"),
    path("<int:pk>/revisions/<int:number>/", views.revision, name="revision"),
    path("revisions/<int:pk>/unit/", views.unit, name="unit"),
    path("revisions/<int:pk>/ready/", views.ready, name="ready"),
    path("revisions/<int:pk>/body.glb", shown_files.light, name="light"),
    path("revisions/<int:pk>/lines.json", shown_files.lines, name="lines"),
    path("revisions/<int:pk>/picture.png", shown_files.picture, name="picture"),
]
