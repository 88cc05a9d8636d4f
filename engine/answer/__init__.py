"""The answer: one typed document, and the views of it in words."""
