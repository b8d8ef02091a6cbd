"""Headers of every answer: nothing from elsewhere, no script or style but our own files, nothing kept by others."""

from __future__ import annotations

from litestar.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "style-src 'self'",
        "script-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "frame-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'self'",
        "base-uri 'none'",
        "manifest-src 'none'",
        "worker-src 'none'",
    )
)
_ALWAYS = {
    "content-security-policy": CONTENT_SECURITY_POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "SAMEORIGIN",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
    "cache-control": "no-store",
    "server": "consent",
}
"""A header that an answer sets itself is left as it is. OWASP ASVS 4.0.3, 14.4; RFC 9111, 5.2.2.5 (no-store)."""
_TLS = {"strict-transport-security": "max-age=31536000"}


def with_headers(app: ASGIApp, tls: bool) -> ASGIApp:
    """``app`` with the headers on each answer."""
    wanted = {**_ALWAYS, **(_TLS if tls else {})}

    async def answer(scope: Scope, receive: Receive, send: Send) -> None:
        async def put(message: Message) -> None:
            if message["type"] == "http.response.start":
                there = {name.lower() for name, _ in message["headers"]}
                added = [
                    (name.encode(), value.encode()) for name, value in wanted.items() if name.encode() not in there
                ]
                message["headers"] = [*message["headers"], *added]
            await send(message)

        await app(scope, receive, put if str(scope["type"]) == "http" else send)

    return answer
