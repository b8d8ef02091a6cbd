"""Printing on several machines: orders and packs lie encrypted in a PostgreSQL database, where workers take them.

Whoever leads a list puts an order for each patient there and takes the packs as they come; workers on any number of
machines make them, by the same code as the local pool. Extra ``[cluster]``.
"""
