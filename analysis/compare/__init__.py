"""Before against after: whether two sides are comparable, and by how much each figure differs."""
