"""Who is told outside the wards' screens, when and in which words; told from the journal, never from the rules."""
