"""What a typed section means."""
