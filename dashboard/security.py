"""What stands between the pages and a browser that means harm: hosts, origins, headers, sizes.

The service listens on this machine only and has no log-in, so the danger is another web page in the same
browser. A page elsewhere can send a request here but cannot forge its ``Origin``; a name that was pointed at
this machine cannot forge its ``Host``.
"""

from __future__ import annotations

import hmac

from flask import Flask, Response, abort, request

BODY_LIMIT = 64 * 1024 * 1024
"""Largest request in bytes; an export of a gauge is far smaller."""

LOCAL_NAMES = ("127.0.0.1", "localhost")


def guard(server: Flask, *, port: int, script_hashes: list[str], token: str) -> None:
    """Check every request and dress every answer.

    Parameters
    ----------
    server : Flask
        To guard.
    port : int
        The port it is reached at.
    script_hashes : list of str
        CSP hashes of the inline scripts the pages need.
    token : str
        Secret that commands on this machine present when they hand their work over.
    """
    hosts = {f"{name}:{port}" for name in LOCAL_NAMES}
    origins = {f"http://{host}" for host in hosts}
    server.config["MAX_CONTENT_LENGTH"] = BODY_LIMIT
    server.config["MAX_FORM_MEMORY_SIZE"] = BODY_LIMIT
    policy = "; ".join(
        (
            "default-src 'none'",
            "script-src 'self' " + " ".join(script_hashes),
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            "connect-src 'self'",
            "worker-src blob:",
            "form-action 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        )
    )

    @server.before_request
    def check() -> None:
        if request.host not in hosts:
            abort(400, "This address is not served here.")
        if request.path.startswith("/hand/"):
            given = request.headers.get("Authorization", "").removeprefix("Bearer ")
            if not hmac.compare_digest(given.encode(), token.encode()):
                abort(403, "This needs the token of the running service.")
            return
        if request.method in ("GET", "HEAD"):
            return
        origin = request.headers.get("Origin")
        site = request.headers.get("Sec-Fetch-Site", "same-origin")
        foreign = (origin is not None and origin not in origins) or site != "same-origin"
        # What changes the shop must say where it comes from; asking for a chart need not.
        if foreign or (origin is None and request.path.startswith("/do/")):
            abort(403, "Only the program's own pages may do this.")

    @server.after_request
    def dress(response: Response) -> Response:
        headers = response.headers
        headers["Content-Security-Policy"] = policy
        headers["X-Content-Type-Options"] = "nosniff"
        headers["X-Frame-Options"] = "DENY"
        headers["Referrer-Policy"] = "no-referrer"
        headers["Cross-Origin-Opener-Policy"] = "same-origin"
        headers["Cross-Origin-Resource-Policy"] = "same-origin"
        headers["Permissions-Policy"] = "camera=(), geolocation=(), microphone=()"
        if not request.path.startswith(("/_dash-component-suites/", "/assets/")):
            headers["Cache-Control"] = "no-store"
        return response
