"""A scenario to try the product with: an invented maker of instruments, its two sites, and
some forty people in every state that a register knows. Nothing in it is anybody's."""
