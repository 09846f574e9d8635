"""What a command asks of a shop, alike whether it runs by itself or is handed to the service."""
