"""The shop as of a moment: asked of the database, worked out, kept."""
