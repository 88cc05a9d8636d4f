"""How a person or a script asks: commands and terminal answers."""
