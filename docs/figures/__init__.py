"""The drawings of README and guide, a module each; `docs/pictures.py` writes them."""
