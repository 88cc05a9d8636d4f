"""What is kept of passwords and secrets: whoever reads the ledger learns none of them.

Of passwords an Argon2id hash, of the secrets of sessions and tokens SHA-256.
"""

import hashlib
import hmac
import secrets


def secret_digest(secret: str) -> str:
    """Return what is kept of the secret of a session or token."""
    return hashlib.sha256(secret.encode()).hexdigest()


def is_same_secret(first: str, second: str) -> bool:
    """Compare secrets in a time that tells nothing of them."""
    return hmac.compare_digest(first.encode(), second.encode())


def hashed(password: str) -> str:
    """Return what is kept of a password."""
    from argon2 import PasswordHasher

    return PasswordHasher().hash(password)


def is_password(kept: str, password: str) -> bool:
    """Say whether a password is the one of which this is kept."""
    from argon2 import PasswordHasher
    from argon2.exceptions import Argon2Error, InvalidHashError

    try:
        return PasswordHasher().verify(kept, password)
    except (Argon2Error, InvalidHashError):
        return False


_NOBODY: list[str] = []


def nobody() -> str:
    """Return the hash that names nobody has are compared with."""
    if not _NOBODY:
        _NOBODY.append(hashed(secrets.token_urlsafe(16)))
    return _NOBODY[0]
