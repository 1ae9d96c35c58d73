"""What a reader sees: page data, drawings, browser data and the MkDocs plugin."""
