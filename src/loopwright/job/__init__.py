"""The one document: records, reading, edits, upgrade, schema."""
