"""The collector: readings in, the rules, the record, signals out."""
