"""The machines of the shop, and sending sections to them."""
