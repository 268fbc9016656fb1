"""What happened to a job, who did it and when; nothing is overwritten silently."""
