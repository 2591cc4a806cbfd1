"""Files of meshes and drawings: bytes to plain arrays, strictly, in a process of its own."""
