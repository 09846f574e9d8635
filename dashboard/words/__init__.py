"""Every sentence and number as people read it."""
