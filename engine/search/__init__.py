"""What would fit: lengths, models, sections, as numbers and as pictures."""
