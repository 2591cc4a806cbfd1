"""From the faces of a closed mesh to features with names: flat faces, bores, slots, bends, pockets, rounded edges."""
