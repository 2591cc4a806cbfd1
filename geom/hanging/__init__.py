"""What a hung part holds back: air under it, bath on it, hydrogen along its level undersides."""
