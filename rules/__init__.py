"""What is allowed: rules, mitigations, cautions and vocabulary as data, and their checks."""
