"""How results are put into words, numbers and drawings. No queries and no requests here."""
