"""Addresses of drawings, edges and starts from other cars."""

from django.urls import path

from layflat.web.shaping import downloads, edge_views, other_views, views

app_name = "shaping"
urlpatterns = [
    path("<int:pk>/drawing/", views.bring_drawing, name="drawing"),
    path("drawings/<int:drawing>/", views.drawing, name="read"),
    path("drawings/<int:drawing>/answer/", views.answer_drawing, name="answer"),
    path("drawings/<int:drawing>/anew/", views.ask_drawing_anew, name="anew"),
    path("drawings/<int:drawing>/keep/", views.keep_drawing, name="keep"),
    path("drawings/<int:drawing>/ready/", views.ready, name="ready"),
    path("<int:pk>/other-car/", other_views.other_car, name="other-car"),
    path("<int:pk>/other-car/<int:found>/", other_views.found, name="found"),
    path("<int:pk>/other-car/<int:found>/ready/", other_views.ready, name="found-ready"),
    path("patterns/<int:pk>/edges/", edge_views.edges, name="edges"),
    path("patterns/<int:pk>/edges/change/", edge_views.change, name="change"),
    path("patterns/revisions/<int:kept>/pattern.dxf", downloads.as_dxf, name="as-dxf"),
    path("patterns/revisions/<int:kept>/pattern.svg", downloads.as_svg, name="as-svg"),
]
