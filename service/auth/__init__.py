"""Who asks, and may they."""
