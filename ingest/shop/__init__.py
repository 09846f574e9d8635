"""A shop folder, opened: everything pages and commands may ask or tell it."""
