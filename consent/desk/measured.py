"""What is counted while the desk runs: requests by route and not by address, which would name cases."""

from __future__ import annotations

from litestar.plugins.prometheus import PrometheusConfig
from prometheus_client import Gauge

REQUESTS = PrometheusConfig(
    app_name="desk", prefix="consent", group_path=True, exclude=["^/static/", "^/styles/", "^/metrics$"]
)
PIECES = Gauge("consent_pieces", "Pieces of work that were begun and are kept, by lane and state", ["lane", "state"])
