"""The board's addresses: home, and its part that changes."""

from django.urls import path

from layflat.web.board import views

app_name = "board"
urlpatterns = [
    path("", views.board, name="board"),
    path("board/cards/", views.cards, name="cards"),
]
