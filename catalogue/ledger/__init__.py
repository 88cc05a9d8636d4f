"""The ledger of limits: limits, rules and answers with their history, in a database."""
