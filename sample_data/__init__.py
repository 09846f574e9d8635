"""The demonstration shop: its plan, its exports and the seeded script that makes them."""
