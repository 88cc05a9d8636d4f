"""What follows: measures, conditions, inference, verdicts, and what would make a job fit."""
