"""Backlogs: many jobs read from a file, each answered like one, written to a file."""
