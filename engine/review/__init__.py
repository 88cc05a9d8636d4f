"""What needs the ledger and the engine together: answers given again, and why they differ."""
