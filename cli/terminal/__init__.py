"""How answers look on a terminal."""
