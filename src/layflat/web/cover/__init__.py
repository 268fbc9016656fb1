"""Covers: what one job covers, its alternatives, and what computing them found."""
