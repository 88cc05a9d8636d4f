"""Text to exact numbers: units, quantities, lengths."""
