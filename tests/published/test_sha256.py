"""SHA-256 of files against the published test vectors.

Source: FIPS 180-4 example computations (NIST), 'abc' and the 448-bit message; read in public copies.
"""

import hashlib

import pytest

from triage.library.store import sha256_of

VECTORS = [
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
    (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
]


@pytest.mark.parametrize(("message", "digest"), VECTORS)
def test_sha256_vectors(tmp_path, message, digest):
    (tmp_path / "file").write_bytes(message)
    assert sha256_of(tmp_path / "file") == digest
    assert hashlib.sha256(message).hexdigest() == digest
