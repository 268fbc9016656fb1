"""Pages of handing back, for the shop and for the customer."""
