"""How a piece lies on each machine and what holds it there: drawn by sheet, cards and preview alike."""
