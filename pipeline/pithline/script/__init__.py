"""The cut script: document, schema, independent replay."""
