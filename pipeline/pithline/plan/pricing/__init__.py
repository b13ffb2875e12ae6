"""Search by prices: what plates cost in wood, the best layouts at those prices, and a bound on every layout."""
