"""Sections: closed forms, printed tables, search."""
