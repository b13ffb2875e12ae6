"""Shop cards: one for each slab or bolt that leaves the mill, with its picture, its cuts in working order and its plates."""
