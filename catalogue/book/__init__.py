"""The limit book: limits, rules and answers with their history, in a database."""
