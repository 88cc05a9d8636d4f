"""How a machine and its revision are named in words: where it is read, and in answers about it."""


def named(code: str, file: str | None) -> str:
    """Return a code, told apart from the released model of that code where it is from a file."""
    return f"{code} from {file}" if file else code


def release(revision: int, overlay_revision: int | None, file: str | None) -> str:
    """Say which revision it is; of a file, that nobody has released it."""
    if file:
        return f"from the file {file}, not released"
    over = f", site revision {overlay_revision}" if overlay_revision else ""
    return f"revision {revision}{over}"
