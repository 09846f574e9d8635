"""The scores of parts and the monitors that watch them: level, scatter, spread within a part, single parts."""
