"""What is measured for Prometheus: counts and times, without names, links or askers."""

from __future__ import annotations

from collections.abc import Iterable

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric

from service.stores.base import Figures

_FAST = (0.002, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 20.0)
_STOP = (0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 2.0, 5.0)
_LONG = (0.01, 0.05, 0.25, 1.0, 5.0, 20.0, 60.0, 300.0, 1_800.0, 7_200.0)


class Metrics:
    """The measures of one API process, and the store's figures as they were seen last."""

    def __init__(self) -> None:
        own = self.registry = CollectorRegistry()
        self.requests = Counter(
            "trefoil_requests",
            "Requests that were answered",
            ["route", "method", "status"],
            registry=own,
        )
        self.seconds = Histogram(
            "trefoil_request_seconds",
            "Time until a request was answered, streams and waiting left out",
            ["route"],
            buckets=_FAST,
            registry=own,
        )
        self.hits = Counter("trefoil_cache_hits", "Answers that were kept", ["kept"], registry=own)
        self.misses = Counter(
            "trefoil_cache_misses", "Answers that had to be rendered", registry=own
        )
        self.stop_seconds = Histogram(
            "trefoil_stop_seconds",
            "Time from the wish to stop a search until it had ended",
            buckets=_STOP,
            registry=own,
        )
        self.depth_seconds = Histogram(
            "trefoil_depth_seconds",
            "Seconds that a search took for a half-length",
            ["half_length"],
            buckets=_LONG,
            registry=own,
        )
        self.streams = Gauge("trefoil_streams", "Streams that are open", registry=own)
        self.readers = Gauge("trefoil_readers", "Readers that are ready", registry=own)
        for kept in ("memory", "store"):
            self.hits.labels(kept)
        self._figures: Figures | None = None
        own.register(self)

    def text(self, figures: Figures | None) -> bytes:
        """Return all measures in Prometheus' text format; None for a store that is away."""
        self._figures = figures
        return generate_latest(self.registry)

    def collect(self) -> Iterable[Metric]:
        """Return the store's figures as measures."""
        figures = self._figures
        yield GaugeMetricFamily(
            "trefoil_store_up", "Whether the store answers", int(figures is not None)
        )
        if figures is None:
            return
        for name, says, value in (
            ("jobs_open", "Jobs that are not over", figures.jobs_open),
            ("shards_open", "Shards that nobody has leased", figures.shards_open),
            ("shards_leased", "Shards that a worker has", figures.shards_leased),
            ("oldest_shard_seconds", "How long the oldest open shard waits", figures.oldest),
            ("workers", "Workers that are there and ready", figures.workers),
        ):
            yield GaugeMetricFamily(f"trefoil_{name}", says, value)
        yield CounterMetricFamily("trefoil_leases_lapsed", "Leases that ran out", figures.lapsed)
        yield CounterMetricFamily("trefoil_jobs_failed", "Jobs that failed", figures.failed)
