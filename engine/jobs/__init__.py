"""What of a job can be said, in one declaration."""
