"""Read once by the process that children are forked from: Django is set up before they start."""

import django

django.setup()
