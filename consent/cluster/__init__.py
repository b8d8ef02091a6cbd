"""Printing on several machines: orders and packs lie encrypted in a PostgreSQL database, where workers take them.

Whoever leads a list puts an order for each patient there and takes the packs as they come; workers on any number of
machines make them, by the same code as the local pool. Extra ``[cluster]``.
"""

from consent.cluster.lead import make_all_there
from consent.cluster.place import Cluster, make_key, open_cluster
from consent.cluster.worker import work

__all__ = ["Cluster", "make_all_there", "make_key", "open_cluster", "work"]
