"""The drawing room of the demo decks: shapes in millimetres, pictures made of them, cards made of pictures."""
