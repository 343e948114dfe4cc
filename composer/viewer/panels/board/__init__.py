"""The board: a matrix of a recipe's weights, what the pointer and keys do on it, its menus, and the correctives."""
