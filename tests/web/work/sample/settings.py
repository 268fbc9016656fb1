"""The app's own settings, with the sample computations, and a worker soon taken for lost."""

import os

from layflat.web.settings import *  # noqa: F403

INSTALLED_APPS = [*INSTALLED_APPS, "web.work.sample.apps.SampleConfig"]  # noqa: F405
WORK_LOST_S = float(os.environ.get("SAMPLE_LOST_S", "3"))
