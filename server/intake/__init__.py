"""From bytes to core records: reading art by its header, pairing fronts with backs, and the deck list."""
