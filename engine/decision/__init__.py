"""What a decision comes to, as functions of columns: the same for one job and for a million."""
