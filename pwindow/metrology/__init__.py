"""Height profiles measured across prints and plates, and the features they show."""
