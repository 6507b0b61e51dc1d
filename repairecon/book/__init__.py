"""The inside of the spares book; ``files/spares_book.py`` is its door."""
