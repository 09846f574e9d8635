"""Taking files in: inbox, batches, what is new, receipts that balance."""
