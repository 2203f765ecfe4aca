"""Passwords of accounts, and the two hashes that the brokers know them by."""

from __future__ import annotations

import base64
import hashlib
import os
import secrets
from typing import Final

import bcrypt

# Passwords here are made at random with 192 bits: nobody guesses them, however fast a hash is. So the hashes are cheap,
# and a small computer whose bridges all come back after a power cut lets them in without delay.
BCRYPT_COST: Final = 6
PBKDF2_ROUNDS: Final = 101  # what mosquitto_passwd 2.0 itself takes
_SALT_BYTES: Final = 12


def new_password() -> str:
    """192 bits at random, in characters that no file or shell minds."""
    return secrets.token_urlsafe(24)


def new_client_id() -> str:
    """A client id that nobody guesses, in the 23 characters that every broker takes (MQTT 3.1.1, 3.1.3.1)."""
    return secrets.token_hex(11)


def nats_hash(password: str) -> str:
    """The bcrypt hash, as nats-server takes it."""
    return bcrypt.hashpw(password.encode(), bcrypt.gensalt(BCRYPT_COST, b"2a")).decode()


def mosquitto_hash(password: str) -> str:
    """The PBKDF2-SHA512 hash in Mosquitto's notation: $7$rounds$salt$hash."""
    salt = os.urandom(_SALT_BYTES)
    made = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, PBKDF2_ROUNDS)
    return f"$7${PBKDF2_ROUNDS}${base64.b64encode(salt).decode()}${base64.b64encode(made).decode()}"
