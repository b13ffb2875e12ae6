"""A season: a yard of logs against an order book."""
