"""The one process that owns the shop: service, pages put together, what is handed over to it."""
