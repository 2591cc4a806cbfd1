"""What several tests share: meshes by formula, closed forms, observed order. Not collected as tests."""
