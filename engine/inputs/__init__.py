"""What the engine reads of rules and files before anything is measured."""
