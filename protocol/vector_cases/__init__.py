"""The golden vectors as their authors think of them; build_vectors.py turns them into bytes."""
