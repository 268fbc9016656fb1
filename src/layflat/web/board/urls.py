"""The board's address: home."""

from django.urls import path

from layflat.web.board import views

app_name = "board"
urlpatterns = [path("", views.board, name="board")]
