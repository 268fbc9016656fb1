"""People of the shop, what each may do, and the shop itself."""
