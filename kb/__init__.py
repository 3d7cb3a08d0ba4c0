"""What is known: models, loading, checking, resolving."""
