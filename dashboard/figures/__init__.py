"""Charts as plain dictionaries: functions of what the shop knows, without Dash and without statistics."""
