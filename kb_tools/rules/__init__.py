"""One rule a module; `contract` finds and runs them."""
