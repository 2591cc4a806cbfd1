"""Other ways to do the same job, each solved: for a hole or bend that gets too little, and for a second anode."""
