"""Backlogs and impacts in a process of their own."""
