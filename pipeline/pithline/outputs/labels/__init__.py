"""Labels: which pieces get one, as CSV and on label sheets."""
