"""The workshop app: jobs from an enquiry to hand-back, for people at the counter and in the bay.

A Django project over the core, one Django app per part of the work. The core knows nothing of it.
"""

from layflat.web.backup.restoring import restore
from layflat.web.backup.saving import back_up
from layflat.web.demo_folder import go_on_inventing, open_demo
from layflat.web.serve import serve

__all__ = ["back_up", "go_on_inventing", "open_demo", "restore", "serve"]
