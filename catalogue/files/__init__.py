"""Reading of files: their forms, and every problem told with its key and line."""
