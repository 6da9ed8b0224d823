"""One module per open standard: records to bytes and back, no disk."""
