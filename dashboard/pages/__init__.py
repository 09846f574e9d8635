"""The pages: ``layout(desk, query, …)`` gives title and body, ``register`` is there if one answers back."""
