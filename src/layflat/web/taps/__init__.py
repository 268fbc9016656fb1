"""Taps that tablets keep and send: each is done exactly once, in order, or shown to a person."""
