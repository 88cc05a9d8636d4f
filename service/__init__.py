"""How a team asks: one process with a page for people and an HTTP API for programs."""
