"""What exists: sections, grades, machine models, units and the text people write them in."""
