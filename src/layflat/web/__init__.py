"""The workshop app: jobs from an enquiry to hand-back, for people at the counter and in the bay.

A Django project over the core, one Django app per part of the work. The core knows nothing of it.
"""

from layflat.web.demo_folder import go_on_inventing, open_demo
from layflat.web.serve import serve

__all__ = ["go_on_inventing", "open_demo", "serve"]
