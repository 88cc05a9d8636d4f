"""What a change would answer otherwise."""
