"""Offers: what the customer is asked to accept, and what was accepted."""
