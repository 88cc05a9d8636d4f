"""What needs the book and the engine together: answers given again, and why they differ."""
