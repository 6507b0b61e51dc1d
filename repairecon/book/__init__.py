"""The spares book: ``spares_book`` is its door; see there."""
