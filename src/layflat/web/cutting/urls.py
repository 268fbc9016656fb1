"""Addresses of this part."""

from django.urls import path

from layflat.web.cutting import by_hand_views, views

app_name = "cutting"
_FILM = "<str:number>/film/"
_LAYOUT = f"{_FILM}<int:layout>/"
_SECTION = f"{_LAYOUT}<int:section>/"
urlpatterns = [
    path(_FILM, views.film, name="film"),
    path(f"{_FILM}begin/", views.begin, name="begin"),
    path(_LAYOUT, views.layout, name="layout"),
    path(f"{_LAYOUT}so-far/", views.so_far, name="so-far"),
    path(f"{_LAYOUT}shapes.json", views.shapes, name="shapes"),
    path(f"{_LAYOUT}by-hand/", by_hand_views.page, name="by-hand"),
    path(f"{_LAYOUT}by-hand/outlines.json", by_hand_views.shapes, name="by-hand-outlines"),
    path(f"{_LAYOUT}by-hand/keep/", by_hand_views.keep, name="by-hand-keep"),
    path(f"{_LAYOUT}by-hand/search/", by_hand_views.search, name="by-hand-search"),
    path(f"{_LAYOUT}keep/", views.keep, name="keep"),
    path(f"{_LAYOUT}drop/", views.drop, name="drop"),
    path(f"{_LAYOUT}labels.pdf", views.labels, name="labels"),
    path(f"{_LAYOUT}weeding-map.pdf", views.weeding, name="weeding"),
    path(f"{_SECTION}program.hpgl", views.program, name="program"),
    path(f"{_SECTION}simulated.json", views.simulated, name="simulated"),
]
