"""Grades and the tolerances of their product standards."""
