"""The steps of a job, what must come before what, dwell times, tools and their zones."""
