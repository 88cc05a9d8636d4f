"""The pages: rendered here, with small scripts of our own; nothing comes from elsewhere."""
