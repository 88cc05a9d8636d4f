"""What a model and its revision are called, in an answer as in the catalogue."""


def named(code: str, file: str | None) -> str:
    """Return the code, told apart from the released model of that code where it is from a file."""
    return f"{code} from {file}" if file else code


def release(revision: int, overlay_revision: int | None, file: str | None) -> str:
    """Return which revision it is, in words; of a file, that nobody has released it."""
    if file:
        return f"from the file {file}, not released"
    over = f", site revision {overlay_revision}" if overlay_revision else ""
    return f"revision {revision}{over}"
