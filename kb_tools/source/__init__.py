"""Files on disk to YAML nodes that know their place, and whole files back to disk."""
