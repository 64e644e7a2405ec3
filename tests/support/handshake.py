"""A strict TLS handshake by OpenSSL, through Python's ssl: a different implementation from the one that made the certificate."""

from __future__ import annotations

import socket
import ssl
import threading


def handshake(serving: ssl.SSLContext, trusted: bytes, name: str) -> str:
    """Shake hands as a client that trusts one authority; return the version of TLS, or why the client refused."""
    calling = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    calling.verify_flags |= ssl.VERIFY_X509_STRICT
    calling.load_verify_locations(cadata=trusted)
    here, there = socket.socketpair()

    def serve() -> None:
        with here:
            try:
                serving.wrap_socket(here, server_side=True).close()
            except OSError:  # ssl.SSLError is one
                return

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        with there, calling.wrap_socket(there, server_hostname=name) as spoken:
            return spoken.version() or ""
    except ssl.SSLCertVerificationError as refused:
        return refused.verify_message
    finally:
        thread.join()
